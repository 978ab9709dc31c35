package ledger

import (
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"slices"
	"strings"

	"nilvolt/record"
)

// A Packed is a record made ready to be kept. It holds nothing of the record's
// memory.
type Packed struct {
	record   string
	digest   Digest
	evidence []byte
	copyKey  sql.NullInt64
	derived  derived
	jobOnly  bool // no row of readings names the record
}

// A Packer makes records ready to be kept. It serves one goroutine; the zero Packer
// is ready.
type Packer struct {
	encoder encoder
}

// Pack makes a record ready. copyKey is the same for records that repeat each
// other's readings, as the judge says; nil if too few readings tell.
func (p *Packer) Pack(rec *record.Record, copyKey *[16]byte) *Packed {
	out := &Packed{record: strings.Clone(rec.ID), derived: derive(rec), jobOnly: len(rec.Events) == 0}
	buf := make([]byte, 0, 128+48*len(rec.Events))
	out.evidence, out.digest = p.encoder.encode(buf, rec)
	if copyKey != nil {
		out.copyKey = sql.NullInt64{Int64: int64(binary.BigEndian.Uint64(copyKey[:])), Valid: true}
	}
	return out
}

// A derived is what the ledger keeps of the evidence a second time, to search by.
type derived struct {
	started, ended int64 // Unix seconds; 0 and dated false if the record has no time
	dated          bool
	readings       int
	site           string
	technician     string
	usage          []usage
	proofs         []proof
}

// A usage says when a version used an instrument.
type usage struct {
	instrument     string
	role           string
	started, ended int64
}

// A proof is a reading of an indicator on a proving source.
type proof struct {
	number    int
	at        int64
	indicator string
	source    string
	expected  sql.NullFloat64
	volts     sql.NullFloat64
	shown     string
	waveform  string
}

// The roles of an instrument.
const (
	roleIndicator = "indicator"
	roleSource    = "source"
)

// derive takes out of a record what is kept a second time.
func derive(rec *record.Record) derived {
	var d derived
	for i := range rec.Jobs {
		j := &rec.Jobs[i]
		if d.site == "" {
			d.site = strings.Clone(j.Site)
		}
		if d.technician == "" {
			d.technician = strings.Clone(j.Technician)
		}
	}
	for i := range rec.Events {
		e := &rec.Events[i]
		d.date(e.Time)
		if !e.Kind.IsReading() {
			continue
		}
		d.readings++
		d.use(e.Indicator, roleIndicator, e)
		if e.Kind.IsProof() {
			if e.Source != "" && e.Source != record.Live {
				d.use(e.Source, roleSource, e)
			}
			d.proofs = append(d.proofs, proofOf(i, e))
		}
	}
	for i := 0; i < len(rec.Jobs) && !d.dated; i++ {
		d.date(rec.Jobs[i].Start)
		d.date(rec.Jobs[i].End)
	}
	return d
}

// date widens the time that the record takes.
func (d *derived) date(t record.Instant) {
	if !t.IsSet() {
		return
	}
	sec := t.Unix()
	if !d.dated {
		d.started, d.ended, d.dated = sec, sec, true
	}
	d.started, d.ended = min(d.started, sec), max(d.ended, sec)
}

// use widens the time in which an instrument was used. A row whose clock was compared
// with another counts by its corrected time too: by that, what it shows may matter to
// records that lie far from what was logged.
func (d *derived) use(instrument, role string, e *record.Event) {
	first, last := e.Time.Unix(), e.Time.Unix()
	if c := e.Clock; c != nil {
		corrected := e.Time.Add(-c.Ahead)
		first, last = min(first, corrected.Add(-c.Within).Unix()), max(last, corrected.Add(c.Within).Unix())
	}
	for i := range d.usage {
		if u := &d.usage[i]; u.instrument == instrument && u.role == role {
			u.started, u.ended = min(u.started, first), max(u.ended, last)
			return
		}
	}
	d.usage = append(d.usage, usage{strings.Clone(instrument), role, first, last})
}

func proofOf(number int, e *record.Event) proof {
	p := proof{
		number: number, at: e.Time.Unix(), indicator: strings.Clone(e.Indicator), source: strings.Clone(e.Source),
		expected: sql.NullFloat64{Float64: float64(e.Expected), Valid: e.HasExpected},
		volts:    sql.NullFloat64{Float64: float64(e.Volts.Volts), Valid: e.Volts.State == record.Shown},
		shown:    strings.Clone(e.Volts.Text), waveform: e.Waveform.String(),
	}
	if p.shown == "" {
		p.shown = strings.Clone(e.Stage.Text)
	}
	return p
}

// An Outcome says what became of a record that was handed in.
type Outcome string

// The outcomes.
const (
	New        Outcome = "new"
	Same       Outcome = "same"        // this content of this record is kept already
	NewVersion Outcome = "new-version" // other content of this record is kept, and stays
	// JobOnly is a record that only a job sheet names, whose rows and readings are
	// kept already: the sheet is older than the readings handed in, or covers more.
	JobOnly Outcome = "job-only"
	// NoRow is a record that only a job sheet names and of which nothing is kept. It is
	// planned, or it was done and its readings are still to be handed in. The sheet is
	// kept with the upload, the record is not, unless [Upload.WithoutRows] asks for it.
	NoRow Outcome = "no-row"
)

// A Kept is a record of an upload as the ledger has it.
type Kept struct {
	Record  string
	Version int64 // its row
	Number  int   // 1 for the first version of the record
	Outcome Outcome
	Several bool   // other versions of the record are kept as well
	Status  string // of the version that is kept; only where the outcome is JobOnly
}

// prepare makes the upload ready to take versions.
func (u *Upload) prepare() {
	u.versions = newInserter(u.tx, "version", "leaf", "record", "number", "upload", "digest", "evidence", "copy_key",
		"started", "ended", "readings", "site", "technician")
	u.usage = newInserter(u.tx, "usage", "version", "instrument", "role", "started", "ended")
	u.proofs = newInserter(u.tx, "proof", "version", "number", "at", "indicator", "source", "expected", "volts", "shown", "waveform")
}

// A known is a version of a record that is kept already.
type known struct {
	row    int64
	number int
	upload int64
	digest Digest
}

// known returns the versions that are kept of the records, each list in order.
func (t *Tx) known(packed []*Packed) (map[string][]known, error) {
	found := map[string][]known{}
	for chunk := range slices.Chunk(packed, mostInList) {
		args := make([]any, len(chunk))
		for i, p := range chunk {
			args[i] = p.record
		}
		err := each(t.ctx, t.tx, func(rows *sql.Rows) error {
			var id string
			var k known
			var digest []byte
			if err := rows.Scan(&id, &k.row, &k.number, &k.upload, &digest); err != nil {
				return err
			}
			copy(k.digest[:], digest)
			found[id] = append(found[id], k)
			return nil
		}, `SELECT record, leaf, number, upload, digest FROM version WHERE record IN (`+parameters(1, len(args))+`) ORDER BY number`, args...)
		if err != nil {
			return nil, err
		}
	}
	return found, nil
}

// Add keeps records, each of which is added once an upload. After the last one the
// caller must call [Upload.Flush].
func (u *Upload) Add(packed []*Packed) ([]Kept, error) {
	var found map[string][]known
	var err error
	if u.earlier { // each record is added once, so there is nothing else to be met
		if found, err = u.tx.known(packed); err != nil {
			return nil, err
		}
	}
	out := make([]Kept, len(packed))
	for i, p := range packed {
		versions := found[p.record]
		k := Kept{Record: p.record, Outcome: New, Number: 1}
		switch n := len(versions); {
		case n > 0:
			k.Outcome, k.Number = NewVersion, versions[n-1].number+1
		case p.jobOnly && !u.WithoutRows:
			k.Outcome, k.Number = NoRow, 0
		}
		for _, v := range versions {
			if v.digest == p.digest {
				k.Outcome, k.Number, k.Version = Same, v.number, v.row
			}
		}
		k.Several = k.Outcome == NewVersion || len(versions) > 1
		if k.Outcome == NewVersion && p.jobOnly {
			if err := u.jobKnown(p, &k); err != nil {
				return nil, err
			}
		}
		if k.Outcome == New || k.Outcome == NewVersion {
			if k.Version, err = u.insert(p, k.Number); err != nil {
				return nil, err
			}
		}
		out[i] = k
	}
	return out, nil
}

// jobKnown makes a record that only job sheets name JobOnly if all that they say of
// it stands in its newest version that has readings.
func (u *Upload) jobKnown(p *Packed, k *Kept) error {
	t := u.tx
	list, err := items(t.ctx, t.tx, "WHERE v.record = $1 AND v.readings > 0", p.record)
	if err != nil || len(list) == 0 {
		return err
	}
	newest := list[len(list)-1]
	var evidence []byte
	err = t.tx.QueryRowContext(t.ctx, `SELECT evidence FROM version WHERE leaf = $1`, newest.Version).Scan(&evidence)
	if err != nil {
		return err
	}
	kept, err := decodeEvidence(p.record, evidence)
	if err != nil {
		return err
	}
	said, err := decodeEvidence(p.record, p.evidence)
	if err != nil {
		return err
	}
	var e encoder
	known := map[Digest]bool{}
	for _, job := range kept.Jobs {
		_, digest := e.encode(nil, &record.Record{Jobs: []record.Job{job}})
		known[digest] = true
	}
	for _, job := range said.Jobs {
		if _, digest := e.encode(nil, &record.Record{Jobs: []record.Job{job}}); !known[digest] {
			return nil
		}
	}
	k.Outcome, k.Version, k.Number, k.Status = JobOnly, newest.Version, newest.Number, newest.Judgement.Status
	return nil
}

func versionLeaf(id string, number, upload int64, digest, evidence []byte, copyKey sql.NullInt64) leaf {
	sum := sha256.Sum256(evidence)
	l := newLeaf(kindVersion).text(id).int(number).int(upload).bytes(digest).bytes(sum[:])
	if copyKey.Valid {
		l = l.int(copyKey.Int64)
	}
	return l
}

// insert writes the rows of a version.
func (u *Upload) insert(p *Packed, number int) (int64, error) {
	t := u.tx
	d := p.derived
	if !d.dated {
		d.started, d.ended = t.now.Unix(), t.now.Unix()
	}
	row, err := t.leaf(versionLeaf(p.record, int64(number), u.ID, p.digest[:], p.evidence, p.copyKey))
	if err != nil {
		return 0, err
	}
	t.longest = max(t.longest, d.ended-d.started)
	u.note(&d)
	err = u.versions.add(row, p.record, number, u.ID, p.digest[:], p.evidence, p.copyKey,
		d.started, d.ended, d.readings, d.site, d.technician)
	if err != nil {
		return 0, err
	}
	for _, s := range d.usage {
		t.longest = max(t.longest, s.ended-s.started) // by corrected times it may be longer than the record
		if err := u.usage.add(row, s.instrument, s.role, s.started, s.ended); err != nil {
			return 0, err
		}
	}
	for _, f := range d.proofs {
		if err := u.proofs.add(row, f.number, f.at, f.indicator, f.source, f.expected, f.volts, f.shown, f.waveform); err != nil {
			return 0, err
		}
	}
	return row, nil
}

// Flush writes what Add has put down.
func (u *Upload) Flush() error {
	// Versions first: the others refer to them.
	for _, i := range []*inserter{u.versions, u.usage, u.proofs} {
		if err := i.flush(); err != nil {
			return err
		}
	}
	return nil
}
