package ledger

import (
	"database/sql"
	"io"

	"nilvolt/record"
)

// The rows of a version are what the reader of files made of an upload on the day it
// came. The upload itself is kept as it came, and a later reader may make something
// else of it. What follows is for who reads uploads anew: it says which version each
// record is.

// Uploads returns all uploads, the first one first.
func (t *Tx) Uploads() ([]KeptUpload, error) { return uploads(t.ctx, t.tx) }

// Unpack writes a kept file, by its row, to w; [ErrAltered] if it is not what came.
func (t *Tx) Unpack(row int64, w io.Writer) (size int64, err error) {
	return unpackWhole(t.ctx, t.tx, row, w)
}

// Sizes returns how many bytes the kept files have, by their row.
func (t *Tx) Sizes() (map[int64]int64, error) {
	sizes := map[int64]int64{}
	return sizes, each(t.ctx, t.tx, func(rows *sql.Rows) error {
		var row, size int64
		err := rows.Scan(&row, &size)
		sizes[row] = size
		return err
	}, `SELECT leaf, size FROM content`)
}

// A Recognised says which version a record is that was read anew from an upload.
type Recognised struct {
	Version int64 // its row; 0: the ledger has none of this record
	Number  int
	Same    bool // the content is that of the version, byte for byte
	// Spare says that nothing hangs on the record: only a job sheet names it, and it
	// was not kept with this upload.
	Spare bool
}

// Recognise finds the versions of records that were read anew from an upload. One whose
// content is not kept is the version that was kept with the upload, or else the last
// one before it.
func (t *Tx) Recognise(upload int64, packed []*Packed) ([]Recognised, error) {
	found, err := t.known(packed)
	if err != nil {
		return nil, err
	}
	out := make([]Recognised, len(packed))
	for i, p := range packed {
		out[i] = recognise(upload, p, found[p.record])
	}
	return out, nil
}

// recognise finds the version among all of its record, which are in order.
func recognise(upload int64, p *Packed, versions []known) Recognised {
	var r Recognised
	own := false
	for _, v := range versions {
		switch {
		case v.digest == p.digest:
			return Recognised{Version: v.row, Number: v.number, Same: true}
		case v.upload <= upload:
			r.Version, r.Number = v.row, v.number
			own = own || v.upload == upload
		}
	}
	r.Spare = p.jobOnly && !own
	return r
}

// Name returns the id of the record.
func (p *Packed) Name() string { return p.record }

// Record returns the record again.
func (p *Packed) Record() (*record.Record, error) { return decodeEvidence(p.record, p.evidence) }

// A Standing is how many records have a status, each by the newest judgement of the
// version that stands for it: that with the worst, as the weekly report counts them.
type Standing map[string]int

// Standing counts all kept records.
func (t *Tx) Standing() (Standing, error) {
	out := Standing{}
	id, rivals := "", []rival(nil)
	count := func() {
		stands, _ := standing(rivals)
		for _, r := range rivals {
			if r.version == stands {
				out[r.status]++
			}
		}
	}
	err := each(t.ctx, t.tx, func(rows *sql.Rows) error {
		var next string
		var r rival
		err := rows.Scan(&next, &r.version, &r.readings, &r.status)
		if next != id {
			count()
			id, rivals = next, rivals[:0]
		}
		rivals = append(rivals, r)
		return err
	}, `SELECT v.record, v.leaf, v.readings, j.status FROM version v JOIN judgement j ON `+newestJudgement+`
		ORDER BY v.record, v.number`)
	count()
	return out, err
}

// A Place names a version for people, and the upload with which it came.
type Place struct {
	Version int64 // its row
	Record  string
	Number  int // 1 for the first version of the record
	Upload  int64
}

// Place returns where a version stands.
func (t *Tx) Place(version int64) (Place, error) {
	p := Place{Version: version}
	err := t.tx.QueryRowContext(t.ctx, `SELECT record, number, upload FROM version WHERE leaf = $1`, version).Scan(&p.Record, &p.Number, &p.Upload)
	return p, err
}

// Siblings returns the versions of the same record that came with the same upload.
func (t *Tx) Siblings(p Place) ([]int64, error) {
	var list []int64
	return list, each(t.ctx, t.tx, func(rows *sql.Rows) error {
		var row int64
		err := rows.Scan(&row)
		list = append(list, row)
		return err
	}, `SELECT leaf FROM version WHERE record = $1 AND upload = $2 AND leaf <> $3`, p.Record, p.Upload, p.Version)
}
