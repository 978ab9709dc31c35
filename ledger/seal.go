package ledger

import (
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// A Seal stands on a printed sheet and says what the ledger held when it was printed:
// which version of which record, which judgement of it, and the hash of both as they
// stand in the log. Whoever alters the sheet, the evidence or the judgement makes a
// seal that no longer holds.
type Seal struct {
	Origin    string // name of the ledger
	Record    string
	Number    int   // of the version
	Judgement int64 // its place in the log
	Hash      [sha256.Size]byte
}

// sealLead begins the text of a seal and says how the rest is to be read.
const sealLead = "nilvolt-sheet-1"

// String returns the text of the seal, as in
// "nilvolt-sheet-1/nilvolt-1f0c/R7/1/42/…": origin, record, version, judgement and hash
// (base64 of RFC 4648, section 5), with what would break the text escaped as in a URL.
func (s Seal) String() string {
	return strings.Join([]string{
		sealLead, url.PathEscape(s.Origin), url.PathEscape(s.Record), strconv.Itoa(s.Number),
		strconv.FormatInt(s.Judgement, 10), base64.RawURLEncoding.EncodeToString(s.Hash[:]),
	}, "/")
}

// errSealForm is what ParseSeal says of text that is no seal.
var errSealForm = errors.New("not the text of a sheet's code: it begins with " + sealLead + "/ and has six parts with / between them")

// ParseSeal reads the text of a seal; blanks and ends of lines in it do not count.
func ParseSeal(text string) (Seal, error) {
	parts := strings.Split(strings.Join(strings.Fields(text), ""), "/")
	if len(parts) != 6 || parts[0] != sealLead {
		return Seal{}, errSealForm
	}
	var s Seal
	var errs [5]error
	s.Origin, errs[0] = url.PathUnescape(parts[1])
	s.Record, errs[1] = url.PathUnescape(parts[2])
	s.Number, errs[2] = strconv.Atoi(parts[3])
	s.Judgement, errs[3] = strconv.ParseInt(parts[4], 10, 64)
	hash, err := base64.RawURLEncoding.Strict().DecodeString(parts[5])
	errs[4] = err
	if errors.Join(errs[:]...) != nil || len(hash) != len(s.Hash) || s.Number < 1 || s.Judgement < 1 {
		return Seal{}, errSealForm
	}
	copy(s.Hash[:], hash)
	return s, nil
}

// Seal returns the seal of what the proof proves. It holds only if [Inclusion.Check]
// does.
func (p *Inclusion) Seal(origin string) Seal {
	s := Seal{Origin: origin, Record: p.Record, Number: p.Number, Judgement: p.Judgement.Index}
	version, judgement := tlog.RecordHash(p.Version.Leaf), tlog.RecordHash(p.Judgement.Leaf)
	text := append([]byte(sealLead+"\x00"), version[:]...)
	s.Hash = sha256.Sum256(append(text, judgement[:]...))
	return s
}

// Matches reports what of a sheet's seal is not as the log has it: nil if nothing.
func (s Seal) Matches(log Seal) error {
	switch {
	case s.Origin != log.Origin:
		return fmt.Errorf("the sheet is of the ledger %s, this is %s", s.Origin, log.Origin)
	case s.Record != log.Record || s.Number != log.Number:
		return fmt.Errorf("the sheet is of %s, version %d, this is %s, version %d", s.Record, s.Number, log.Record, log.Number)
	case s.Judgement != log.Judgement:
		return errors.New("the sheet shows another judgement than this one")
	case s.Hash != log.Hash:
		return errors.New("the hash of the sheet is not that of the evidence and the judgement in the log")
	}
	return nil
}
