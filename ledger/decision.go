package ledger

import (
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"nilvolt/record"
)

// A DecisionKind is what QA may decide on a record that is not compliant.
type DecisionKind string

// The decisions.
const (
	Repeat    DecisionKind = "repeat"    // the isolation is to be done and recorded again
	Accept    DecisionKind = "accept"    // it stands as it is, for the reason given
	Coach     DecisionKind = "coach"     // the technician is to be shown how it is done
	ToStore   DecisionKind = "store"     // the instrument goes to the tool store to be checked
	Duplicate DecisionKind = "duplicate" // it is kept twice, under two ids
)

// DecisionKinds returns all kinds.
func DecisionKinds() []DecisionKind {
	return []DecisionKind{Repeat, Accept, Coach, ToStore, Duplicate}
}

// A Decision is what somebody decided on a version. It is never changed; another
// may follow it.
type Decision struct {
	ID        int64
	Made      string // RFC 3339, UTC
	By        string
	Version   int64
	Judgement int64 // which one was decided on
	Kind      DecisionKind
	Reason    string
}

func (d *Decision) leaf() leaf {
	return newLeaf(kindDecision).text(d.Made).text(d.By).int(d.Version).int(d.Judgement).text(string(d.Kind)).text(d.Reason)
}

// Errors of Decide.
var (
	ErrNoSuchVersion = errors.New("no such record, or no such version of it")
	ErrNobody        = errors.New("a decision needs the name of who makes it")
	ErrNoReason      = errors.New("a decision needs a reason")
	ErrSamePerson    = errors.New("this person has accepted the record already: a live record is accepted by two people")
)

// Item returns a version of a record with its newest judgement and what was decided on
// it; [ErrNoSuchVersion] if there is none.
func (t *Tx) Item(record string, number int) (*Item, error) {
	return t.item(`WHERE v.record = $1 AND v.number = $2`, record, number)
}

// Decide adds a decision on the newest judgement of a version. An accepted live
// record stays open until a second person has accepted it; closed tells. A name that
// mixes scripts in a word is a *NameError.
func (t *Tx) Decide(version int64, kind DecisionKind, by, reason string) (d Decision, closed bool, err error) {
	by, reason = strings.TrimSpace(by), strings.TrimSpace(reason)
	switch {
	case foldName(by) == "":
		return d, false, ErrNobody
	case reason == "":
		return d, false, ErrNoReason
	}
	if err := checkName(by); err != nil {
		return d, false, err
	}
	item, err := t.item(`WHERE v.leaf = $1`, version)
	if err != nil {
		return d, false, err
	}
	if kind == Accept && item.Judgement.Status == record.LiveFound.String() {
		for _, before := range item.accepts() {
			if sameName(before.By, by) {
				return d, false, ErrSamePerson
			}
		}
	}
	d = Decision{Made: stamp(t.now), By: by, Version: version, Judgement: item.Judgement.ID, Kind: kind, Reason: reason}
	if d.ID, err = t.leaf(d.leaf()); err != nil {
		return d, false, err
	}
	err = t.exec(`INSERT INTO decision (leaf, made, by_whom, version, judgement, kind, reason)
		VALUES ($1, $2, $3, $4, $5, $6, $7)`, d.ID, d.Made, by, version, d.Judgement, string(kind), reason)
	item.Decisions = append(item.Decisions, d)
	return d, item.Closed(), err
}

// item returns one version.
func (t *Tx) item(where string, args ...any) (*Item, error) {
	list, err := items(t.ctx, t.tx, where, args...)
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, ErrNoSuchVersion
	}
	return list[0], nil
}

// An EventWord says what happened to an instrument.
type EventWord string

// The events.
const (
	Registered  EventWord = "registered" // it stands in a register for the first time
	Changed     EventWord = "changed"    // its row in the register says something else than before
	SentToStore EventWord = "to-store"   // a decision sent it to the tool store
)

// An Event is something that happened to an instrument.
type Event struct {
	ID         int64
	Made       string // RFC 3339, UTC
	By         string
	Instrument string
	Word       EventWord
	Detail     string // the row of the register as JSON, or the reason
	Cause      int64  // the upload or the decision that it came of
}

func (e *Event) leaf() leaf {
	return newLeaf(kindEvent).text(e.Made).text(e.By).text(e.Instrument).text(string(e.Word)).text(e.Detail).int(e.Cause)
}

// Note adds an event.
func (t *Tx) Note(by, instrument string, word EventWord, detail string, cause int64) error {
	e := Event{Made: stamp(t.now), By: by, Instrument: instrument, Word: word, Detail: detail, Cause: cause}
	row, err := t.leaf(e.leaf())
	if err != nil {
		return err
	}
	err = t.exec(`INSERT INTO event (leaf, made, by_whom, instrument, word, detail, cause)
		VALUES ($1, $2, $3, $4, $5, $6, $7)`, row, e.Made, by, instrument, string(word), detail, cause)
	return err
}

// SendToStore notes for every indicator of the versions that decisions were made on that
// it goes to the tool store, once, with the first of them as the cause.
func (t *Tx) SendToStore(decisions ...Decision) error {
	sent := map[string]bool{}
	for _, d := range decisions {
		if err := t.sendToStore(d, sent); err != nil {
			return err
		}
	}
	return nil
}

// sendToStore sends the indicators of one version that are not among those sent.
func (t *Tx) sendToStore(d Decision, sent map[string]bool) error {
	var indicators []string
	err := each(t.ctx, t.tx, func(rows *sql.Rows) error {
		var id string
		err := rows.Scan(&id)
		indicators = append(indicators, id)
		return err
	}, `SELECT instrument FROM usage WHERE version = $1 AND role = $2 ORDER BY instrument`, d.Version, roleIndicator)
	if err != nil {
		return err
	}
	for _, id := range indicators {
		if sent[id] {
			continue
		}
		sent[id] = true
		if err := t.Note(d.By, id, SentToStore, d.Reason, d.ID); err != nil {
			return err
		}
	}
	return nil
}

// NoteRegister adds an event for each instrument of a register that is new or whose
// row says something else than when it was last noted. details holds the rows as
// JSON, by id.
func (t *Tx) NoteRegister(by string, ids []string, details map[string]string, cause int64) error {
	last := map[string]string{}
	err := each(t.ctx, t.tx, func(rows *sql.Rows) error {
		var id, detail string
		err := rows.Scan(&id, &detail)
		last[id] = detail
		return err
	}, `SELECT instrument, detail FROM event WHERE word <> $1 ORDER BY leaf`, string(SentToStore))
	if err != nil {
		return err
	}
	for _, id := range ids {
		before, known := last[id]
		word := Changed
		if !known {
			word = Registered
		}
		if known && before == details[id] {
			continue
		}
		if err := t.Note(by, id, word, details[id], cause); err != nil {
			return fmt.Errorf("instrument %s: %w", id, err)
		}
	}
	return nil
}
