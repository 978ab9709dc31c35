package capture

import (
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"slices"
	"strconv"
	"strings"
	"time"
)

// An Entry is one line of a journal: something that arrived or was said, and when.
type Entry struct {
	Kind Kind
	// Wall is what the computer's clock showed, with its offset.
	Wall time.Time
	// Mono is the time since the journal was opened, by a clock that never jumps.
	// It begins anew where the journal is opened again.
	Mono time.Duration
	Port Role   // NoRole where no port is meant
	Data string // what arrived, byte for byte; or what Kind says
	Line int    // of the journal, 1 for the first; known after reading or appending
}

// A Kind says what an entry is.
type Kind uint8

// The kinds of entry. Of data that arrived every byte is in exactly one Line or Part,
// in order.
const (
	NoKind  Kind = iota
	Begin        // the session began: a Header as JSON
	Resume       // it goes on after it was broken off: a Header as JSON
	Torn         // the line before this one is no whole line: how many bytes it has
	Open         // a port was opened: an Opened as JSON
	Lost         // a port is gone: why
	Line         // bytes up to a line end, behind the Parts before
	Part         // bytes without a line end: a pause, an end, or more than a line can hold
	Said         // the technician did or said something: see Input
	Ask          // a query was sent to the instrument: see Query
	Timeout      // it was not answered in time
	End          // the session is over
	numKinds
)

var kindWords = [numKinds]string{
	Begin: "begin", Resume: "resume", Torn: "torn", Open: "open", Lost: "lost", Line: "line", Part: "part",
	Said: "said", Ask: "ask", Timeout: "timeout", End: "end",
}

// String returns the word that stands in the journal.
func (k Kind) String() string {
	if k < numKinds {
		return kindWords[k]
	}
	return ""
}

// A Role says what a port is for.
type Role uint8

// The roles.
const (
	NoRole    Role = iota
	Indicator      // the voltage indicator: its lines are readings
	Source         // the proving unit: its lines say what it put out
	numRoles
)

var roleWords = [numRoles]string{NoRole: "-", Indicator: "indicator", Source: "source"}

// String returns the word that stands in the journal, "-" for NoRole.
func (r Role) String() string {
	if r < numRoles {
		return roleWords[r]
	}
	return ""
}

// A line of a journal is
//
//	checksum kind wall-clock monotonic port "data"
//
// where the checksum is CRC-32C over the checksum of the line before and the rest of
// this line, so that a line that is missing is seen as well as one that is damaged.
// Data are quoted as in Go, in ASCII only: whatever arrives, a line stays a line.
const (
	sumDigits = 8
	firstSum  = "00000000"
	wallForm  = time.RFC3339Nano
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// checksum returns the checksum of a line whose text behind its own is rest.
func checksum(before, rest string) string {
	sum := crc32.Update(crc32.Checksum([]byte(before), castagnoli), castagnoli, []byte(rest))
	return hex.EncodeToString([]byte{byte(sum >> 24), byte(sum >> 16), byte(sum >> 8), byte(sum)})
}

// append appends the line of e, and returns it with its checksum.
func (e *Entry) append(out []byte, before string) ([]byte, string) {
	var b []byte
	b = append(b, e.Kind.String()...)
	b = append(b, ' ')
	b = e.Wall.AppendFormat(b, wallForm)
	b = append(b, ' ')
	b = strconv.AppendInt(b, int64(e.Mono), 10)
	b = append(b, ' ')
	b = append(b, e.Port.String()...)
	b = append(b, ' ')
	b = strconv.AppendQuoteToASCII(b, e.Data)
	sum := checksum(before, string(b))
	out = append(out, sum...)
	out = append(out, ' ')
	out = append(out, b...)
	return append(out, '\n'), sum
}

// errNotWhole says that a line is not what was written, or only a part of it.
var errNotWhole = errors.New("the line is not as it was written")

// parseEntry reads a line without its line end. before is the checksum of the line
// before it. After any error but errNotWhole the line is as it was written.
func parseEntry(line, before string) (e Entry, sum string, err error) {
	sum, rest, ok := strings.Cut(line, " ")
	if !ok || len(sum) != sumDigits || checksum(before, rest) != sum {
		return Entry{}, "", errNotWhole
	}
	fields := strings.SplitN(rest, " ", 5)
	if len(fields) != 5 {
		return Entry{}, "", errors.New("not a line of a journal")
	}
	kind, known := findWord(kindWords[1:], fields[0])
	if !known {
		return Entry{}, "", fmt.Errorf("%q is no kind of entry that this version knows", fields[0])
	}
	e.Kind = Kind(kind + 1)
	if e.Wall, err = time.Parse(wallForm, fields[1]); err != nil {
		return Entry{}, "", err
	}
	mono, err := strconv.ParseInt(fields[2], 10, 64)
	if err != nil {
		return Entry{}, "", err
	}
	e.Mono = time.Duration(mono)
	role, known := findWord(roleWords[:], fields[3])
	if !known {
		return Entry{}, "", fmt.Errorf("%q is no port that this version knows", fields[3])
	}
	e.Port = Role(role)
	if e.Data, err = strconv.Unquote(fields[4]); err != nil {
		return Entry{}, "", fmt.Errorf("data %s: %w", fields[4], err)
	}
	return e, sum, nil
}

// findWord returns the place of a word in a list, which is short.
func findWord(words []string, word string) (int, bool) {
	i := slices.Index(words, word)
	return i, i >= 0
}
