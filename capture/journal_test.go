package capture

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

var wall0 = time.Date(2026, 3, 2, 10, 15, 40, 123456789, time.FixedZone("", 3600))

// entryAt is an entry so many milliseconds after the begin.
func entryAt(ms int, kind Kind, role Role, data string) Entry {
	d := time.Duration(ms) * time.Millisecond
	return Entry{Kind: kind, Wall: wall0.Add(d), Mono: d, Port: role, Data: data}
}

// journalText returns the text of a journal of the entries.
func journalText(entries []Entry) []byte {
	var out []byte
	sum := firstSum
	for _, e := range entries {
		out, sum = e.append(out, sum)
	}
	return out
}

// sample is a small journal with all that can be awkward in a line.
var sample = []Entry{
	entryAt(0, Begin, NoRole, `{"version":1,"record":"R1"}`),
	entryAt(1, Open, Indicator, `{"port":"A","settings":"9600 8N1"}`),
	entryAt(2, Line, Indicator, "event,indicator,pair,volts\r\n"),
	entryAt(3, Line, Indicator, "test,VI-1,L-N,0.4\r\n"),
	entryAt(4, Line, Indicator, "\xff\x00 \"quoted\" \u00e9 \n"),
	entryAt(900, Part, Indicator, "test,VI-1,L-E,23"),
	entryAt(1500, Line, Indicator, "1.8\n"),
	entryAt(1600, Said, NoRole, "isolate"),
}

var entryCmp = cmp.Options{cmpopts.EquateEmpty(), cmp.Comparer(func(a, b Entry) bool {
	return a.Kind == b.Kind && a.Wall.Equal(b.Wall) && a.Mono == b.Mono && a.Port == b.Port && a.Data == b.Data
})}

func TestEntriesAreReadAsTheyWereWritten(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var entries []Entry
		for range rapid.IntRange(0, 5).Draw(rt, "n") {
			entries = append(entries, Entry{
				Kind: Kind(rapid.IntRange(1, int(numKinds)-1).Draw(rt, "kind")),
				Wall: wall0.Add(time.Duration(rapid.Int64Range(-1e15, 1e15).Draw(rt, "wall"))),
				Mono: time.Duration(rapid.Int64().Draw(rt, "mono")), Port: Role(rapid.IntRange(0, int(numRoles)-1).Draw(rt, "port")),
				Data: string(rapid.SliceOf(rapid.Byte()).Draw(rt, "data")),
			})
		}
		text := journalText(entries)
		c, err := ReadJournal(text, "J")
		if err != nil {
			rt.Fatal(err)
		}
		if diff := cmp.Diff(entries, c.Entries, entryCmp); diff != "" || c.Torn != "" {
			rt.Fatalf("%s\ntorn %q", diff, c.Torn)
		}
		for i, e := range c.Entries {
			if e.Line != i+1 {
				rt.Fatalf("entry %d is of line %d", i, e.Line)
			}
		}
		if lines := strings.Count(string(text), "\n"); lines != len(entries) {
			rt.Fatalf("%d lines for %d entries", lines, len(entries))
		}
	})
}

// Cut anywhere, as by a loss of power, a journal is what was whole by then, and the
// piece at the end is kept. It can be gone on with, and cut again.
func TestJournalCutAtEveryByte(t *testing.T) {
	text := journalText(sample)
	for n := range len(text) + 1 {
		whole := bytes.Count(text[:n], []byte{'\n'})
		end := bytes.LastIndexByte(text[:n], '\n') + 1
		if text[min(n, len(text)-1)] == '\n' && n > end { // a line that lacks its line end only
			whole, end = whole+1, n
		}
		c, err := ReadJournal(text[:n], "J")
		if err != nil {
			t.Fatalf("cut at %d: %v", n, err)
		}
		if diff := cmp.Diff(sample[:whole], c.Entries, entryCmp); diff != "" {
			t.Fatalf("cut at %d:\n%s", n, diff)
		}
		if c.Torn != string(text[end:n]) {
			t.Fatalf("cut at %d: torn %q", n, c.Torn)
		}
	}
}

// continued returns the journal text after it was gone on with: a torn line is told
// of, and an entry added.
func continued(t *testing.T, text []byte, e Entry) []byte {
	t.Helper()
	disk := &smallDisk{room: 1 << 20}
	disk.Buffer.Write(text)
	j, c, err := goOn(disk, text, "J")
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	entries := []Entry{e}
	if c.Torn != "" {
		entries = []Entry{entryAt(0, Torn, NoRole, fmt.Sprint(len(c.Torn))), e}
	}
	if err := j.Append(entries); err != nil {
		t.Fatal(err)
	}
	after := disk.Bytes()
	if !bytes.HasPrefix(after, text) {
		t.Fatalf("what stood there was changed:\n%s\n%s", text, after)
	}
	if entries[len(entries)-1].Line != bytes.Count(after, []byte{'\n'}) {
		t.Fatalf("the entry is said to be line %d of\n%s", entries[len(entries)-1].Line, after)
	}
	return after
}

func TestJournalGoesOnAfterACut(t *testing.T) {
	text := journalText(sample[:3])
	more := entryAt(5000, Said, NoRole, "note again")
	for n := range len(text) + 1 {
		after := continued(t, text[:n], more)
		for m := n; m <= len(after); m++ { // and the power goes again
			data := continued(t, after[:m], more)
			c, err := ReadJournal(data, "J")
			if err != nil || c.Torn != "" {
				t.Fatalf("cut at %d and %d: %v, torn in\n%s", n, m, err, data)
			}
			if last := c.Entries[len(c.Entries)-1]; last.Data != more.Data || last.Line != bytes.Count(data, []byte{'\n'}) {
				t.Fatalf("cut at %d and %d: the last entry is %+v in\n%s", n, m, last, data)
			}
		}
	}
}

// A byte that was changed is told with its line, and so is a line that is missing or
// stands elsewhere. Only of the last line nobody can know whether it was whole.
func TestJournalDamage(t *testing.T) {
	text := journalText(sample)
	last := bytes.LastIndexByte(text[:len(text)-1], '\n') + 1
	second := bytes.LastIndexByte(text[:last-1], '\n') + 1 // with it the last one hangs on
	for i := range second {
		for _, change := range []byte{text[i] ^ 1, text[i] ^ 0x20, '\n'} {
			if change == text[i] || i == second-1 {
				continue
			}
			damaged := slices.Clone(text)
			damaged[i] = change
			_, err := ReadJournal(damaged, "J")
			damage, ok := errors.AsType[*DamageError](err)
			if !ok {
				t.Fatalf("byte %d changed to %q: %v", i, change, err)
			}
			if want := bytes.Count(text[:i], []byte{'\n'}) + 1; damage.Line != want {
				t.Fatalf("byte %d is in line %d, damage told in line %d", i, want, damage.Line)
			}
		}
	}
	lines := strings.SplitAfter(string(text), "\n")
	lines = lines[:len(lines)-1]
	for i := range len(lines) - 2 {
		without := strings.Join(slices.Delete(slices.Clone(lines), i, i+1), "")
		if _, err := ReadJournal([]byte(without), "J"); err == nil {
			t.Errorf("line %d is missing, and nobody says so", i+1)
		}
	}
}

func TestJournalOfALaterVersion(t *testing.T) {
	text := "future 2026-03-02T10:15:40Z 0 - \"\""
	line := checksum(firstSum, text) + " " + text + "\n"
	if _, err := ReadJournal([]byte(line), "J"); err == nil || !strings.Contains(err.Error(), "J:1: \"future\"") {
		t.Errorf("read with %v", err)
	}
}

func TestJournalIsOpenOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "J")
	j, _, err := OpenJournal(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := OpenJournal(path); !errors.Is(err, ErrInUse) {
		t.Errorf("opened a second time: %v", err)
	}
	j.Close()
	j, _, err = OpenJournal(path)
	if err != nil {
		t.Fatal(err)
	}
	j.Close()
}

// A smallDisk is a file on a disk that has room for so many bytes.
type smallDisk struct {
	bytes.Buffer
	room    int
	syncErr error
	syncs   int
}

func (d *smallDisk) Write(p []byte) (int, error) {
	n := min(len(p), d.room)
	d.room -= n
	d.Buffer.Write(p[:n])
	if n < len(p) {
		return n, &os.PathError{Op: "write", Path: "J", Err: syscall.ENOSPC}
	}
	return n, nil
}

func (d *smallDisk) Sync() error  { d.syncs++; return d.syncErr }
func (d *smallDisk) Close() error { return nil }

// Whatever is written when the disk is full is there once there is room, in order and
// once.
func TestJournalOnAFullDisk(t *testing.T) {
	text := journalText(sample)
	for room := range len(text) {
		disk := &smallDisk{room: room}
		j := &Journal{file: disk, sum: firstSum}
		full := false
		for _, e := range sample {
			err := j.Append([]Entry{e})
			if _, ok := errors.AsType[*FullError](err); ok {
				full = true
			} else if err != nil {
				t.Fatal(err)
			}
		}
		if !full {
			t.Fatalf("room for %d of %d bytes, and no complaint", room, len(text))
		}
		disk.room = 1 << 20
		if err := j.Flush(); err != nil || disk.String() != string(text) {
			t.Fatalf("room for %d bytes: %v\n%s", room, err, disk.String())
		}
	}
}

// After a sync that failed nobody knows what is on the disk.
func TestJournalAfterAFailedSync(t *testing.T) {
	disk := &smallDisk{room: 1 << 20, syncErr: errors.New("input/output error")}
	j := &Journal{file: disk, sum: firstSum}
	if err := j.Append(sample[:1]); err == nil {
		t.Fatal("the failed sync was not told")
	}
	disk.syncErr = nil
	if err := j.Append(sample[1:2]); err == nil {
		t.Error("the journal goes on after a failed sync")
	}
}

// FuzzJournal: what is read of any bytes is written as the same bytes, but for a piece
// at the end.
func FuzzJournal(f *testing.F) {
	text := journalText(sample)
	f.Add(text)
	f.Add(text[:len(text)-7])
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := ReadJournal(data, "J")
		if err != nil {
			return
		}
		again := journalText(c.Entries)
		if c.unended {
			again = bytes.TrimSuffix(again, []byte("\n"))
		}
		if !slices.ContainsFunc(c.Entries, func(e Entry) bool { return e.Kind == Torn }) && !bytes.HasPrefix(data, again) && canonicalTimes(c.Entries, data) {
			t.Errorf("%q was read as %q", data, again)
		}
		Replay(c, "J")
	})
}

// canonicalTimes reports whether the times in data are written as the program does.
func canonicalTimes(entries []Entry, data []byte) bool {
	for _, e := range entries {
		if !bytes.Contains(data, []byte(e.Wall.Format(wallForm))) {
			return false
		}
	}
	return true
}
