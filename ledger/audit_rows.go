package ledger

import (
	"cmp"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"
)

// self checks the row of the ledger itself.
func (a *audit) self() error {
	var most, longest int64
	if err := a.tx.QueryRowContext(a.ctx, `SELECT COALESCE(MAX(longest), 0) FROM (
		SELECT MAX(ended - started) AS longest FROM version UNION ALL SELECT MAX(ended - started) FROM usage) AS lengths`).Scan(&most); err != nil {
		return err
	}
	return each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var row int64
		var origin, verifier, made string
		if err := rows.Scan(&row, &origin, &verifier, &made, &longest); err != nil {
			return err
		}
		a.check("ledger", row, "what the ledger says of itself ("+origin+")", ledgerLeaf(origin, verifier, made))
		if most != longest {
			a.report.complain("the ledger says that the longest record lasts %d s, and it is %d s", longest, most)
		}
		return nil
	}, `SELECT leaf, origin, verifier, made, longest FROM ledger ORDER BY leaf`)
}

func (a *audit) uploads() error {
	files := map[int64][]UploadFile{}
	err := each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var upload int64
		var number int
		var role string
		var f UploadFile
		if err := rows.Scan(&upload, &number, &role, &f.Name, &f.Content); err != nil {
			return err
		}
		a.report.Rows["upload_file"]++
		if number != len(files[upload]) {
			a.report.complain("file %d in the list of an upload (row %d of the log) has the number %d", len(files[upload]), upload, number)
		}
		f.Role = Role(role)
		files[upload] = append(files[upload], f)
		return nil
	}, `SELECT upload, number, role, name, content FROM upload_file ORDER BY upload, number`)
	if err != nil {
		return err
	}
	count := 0
	err = each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var row int64
		var made, by, zone string
		var digest []byte
		count++
		if err := rows.Scan(&row, &made, &by, &zone, &digest); err != nil {
			return err
		}
		a.check("upload", row, fmt.Sprintf("upload %d of %s, or the list of its files,", count, made), uploadLeaf(made, by, zone, digest, files[row]))
		return nil
	}, `SELECT leaf, made, by_whom, zone, digest FROM upload ORDER BY leaf`)
	if err != nil {
		return err
	}
	return a.orphans("upload_file", "upload", "upload", "files in the list of no upload")
}

// versions checks the versions, and the rows and columns that follow from their
// evidence.
func (a *audit) versions() error {
	made := map[int64]int64{} // when each upload was made, Unix seconds
	err := each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var row int64
		var text string
		err := rows.Scan(&row, &text)
		at, _ := time.Parse(time.RFC3339Nano, text) // a time that was changed is found with the upload
		made[row] = at.Unix()
		return err
	}, `SELECT leaf, made FROM upload`)
	if err != nil {
		return err
	}
	for last := int64(-1); ; {
		list, err := a.someVersions(last)
		if err != nil {
			return err
		}
		if len(list) == 0 {
			break
		}
		for _, v := range list {
			a.derived(v, made[v.upload])
		}
		last = list[len(list)-1].row
		if err := a.ctx.Err(); err != nil {
			return err
		}
	}
	if err := a.orphans("usage", "version", "version", "instruments of no record"); err != nil {
		return err
	}
	return a.orphans("proof", "version", "version", "proofs of no record")
}

// An auditedVersion is a row of version with what belongs to it.
type auditedVersion struct {
	row, upload      int64
	id, name         string
	digest, evidence []byte
	kept             derived
}

// someVersions checks the leaves of the next versions behind a row, and returns
// them with their rows of usage and proof.
func (a *audit) someVersions(behind int64) ([]*auditedVersion, error) {
	const many = 2000
	var list []*auditedVersion
	byRow := map[int64]*auditedVersion{}
	err := each(a.ctx, a.tx, func(rows *sql.Rows) error {
		v := &auditedVersion{}
		var number int64
		var copyKey sql.NullInt64
		err := rows.Scan(&v.row, &v.id, &number, &v.upload, &v.digest, &v.evidence, &copyKey,
			&v.kept.started, &v.kept.ended, &v.kept.readings, &v.kept.site, &v.kept.technician)
		if err != nil {
			return err
		}
		v.name = fmt.Sprintf("record %s, version %d", v.id, number)
		a.check("version", v.row, v.name, versionLeaf(v.id, number, v.upload, v.digest, v.evidence, copyKey))
		list = append(list, v)
		byRow[v.row] = v
		return nil
	}, `SELECT leaf, record, number, upload, digest, evidence, copy_key, started, ended, readings, site, technician
		FROM version WHERE leaf > $1 ORDER BY leaf LIMIT $2`, behind, many)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	last := list[len(list)-1].row
	err = each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var row int64
		var u usage
		err := rows.Scan(&row, &u.instrument, &u.role, &u.started, &u.ended)
		a.report.Rows["usage"]++
		if v := byRow[row]; v != nil {
			v.kept.usage = append(v.kept.usage, u)
		}
		return err
	}, `SELECT version, instrument, role, started, ended FROM usage WHERE version > $1 AND version <= $2`, behind, last)
	if err != nil {
		return nil, err
	}
	return list, each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var row int64
		var p proof
		err := rows.Scan(&row, &p.number, &p.at, &p.indicator, &p.source, &p.expected, &p.volts, &p.shown, &p.waveform)
		a.report.Rows["proof"]++
		if v := byRow[row]; v != nil {
			v.kept.proofs = append(v.kept.proofs, p)
		}
		return err
	}, `SELECT version, number, at, indicator, source, expected, volts, shown, waveform FROM proof
		WHERE version > $1 AND version <= $2 ORDER BY version, number`, behind, last)
}

// derived holds what is kept a second time against the evidence.
func (a *audit) derived(v *auditedVersion, made int64) {
	name, kept := v.name, v.kept
	rec, err := decodeEvidence(v.id, v.evidence)
	if err != nil {
		a.report.complain("%s: %v", name, err)
		return
	}
	again, sum := a.encoder.encode(nil, rec)
	if !slices.Equal(again, v.evidence) || !slices.Equal(sum[:], v.digest) {
		a.report.complain("%s: the evidence does not have its digest", name)
	}
	want := derive(rec)
	if !want.dated {
		want.started, want.ended = made, made
	}
	if kept.started != want.started || kept.ended != want.ended || kept.readings != want.readings ||
		kept.site != want.site || kept.technician != want.technician {
		a.report.complain("%s was changed: time, site or technician are not those of its evidence", name)
	}
	slices.SortFunc(want.usage, compareUsage)
	slices.SortFunc(kept.usage, compareUsage)
	if !slices.Equal(kept.usage, want.usage) {
		a.report.complain("the instruments of %s are not those of its evidence", name)
	}
	if !slices.Equal(kept.proofs, want.proofs) {
		a.report.complain("the proofs of %s are not those of its evidence", name)
	}
}

func (a *audit) judgings() error {
	return each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var j Judging
		var cause string
		var upload, policy, register, columnMap sql.NullInt64
		if err := rows.Scan(&j.ID, &j.Made, &cause, &upload, &policy, &register, &columnMap, &j.Rules); err != nil {
			return err
		}
		j.Cause, j.Upload, j.Context = Cause(cause), upload.Int64, Context{policy.Int64, register.Int64, columnMap.Int64}
		a.check("judging", j.ID, "by what was judged on "+j.Made, j.leaf())
		return nil
	}, `SELECT leaf, made, cause, upload, policy, register, map, rules FROM judging ORDER BY leaf`)
}

func (a *audit) judgements() error {
	return each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var row, judging, version, number int64
		var status, failed, findings, id string
		if err := rows.Scan(&row, &judging, &version, &status, &failed, &findings, &id, &number); err != nil {
			return err
		}
		a.check("judgement", row, fmt.Sprintf("the judgement of record %s, version %d, %s,", id, number, status), judgementLeaf(judging, version, status, failed, findings))
		return a.ctx.Err()
	}, `SELECT j.leaf, j.judging, j.version, j.status, j.failed, j.findings, COALESCE(v.record, ''), COALESCE(v.number, 0)
		FROM judgement j LEFT JOIN version v ON v.leaf = j.version ORDER BY j.leaf`)
}

func (a *audit) decisions() error {
	return each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var d Decision
		var kind string
		if err := rows.Scan(&d.ID, &d.Made, &d.By, &d.Version, &d.Judgement, &kind, &d.Reason); err != nil {
			return err
		}
		d.Kind = DecisionKind(kind)
		a.check("decision", d.ID, fmt.Sprintf("the decision %q by %s of %s", kind, d.By, d.Made), d.leaf())
		return nil
	}, `SELECT leaf, made, by_whom, version, judgement, kind, reason FROM decision ORDER BY leaf`)
}

func (a *audit) events() error {
	return each(a.ctx, a.tx, func(rows *sql.Rows) error {
		e, err := scanEvent(rows)
		if err != nil {
			return err
		}
		a.check("event", e.ID, fmt.Sprintf("the event %q of instrument %s", e.Word, e.Instrument), e.leaf())
		return nil
	}, `SELECT `+eventColumns+` FROM event ORDER BY leaf`)
}

func (a *audit) lookBacks() error {
	return each(a.ctx, a.tx, func(rows *sql.Rows) error {
		b, err := scanLookBack(rows)
		if err != nil {
			return err
		}
		a.check("lookback", b.ID, fmt.Sprintf("the look back of %s at the records of %s", b.Made, b.Instrument), b.leaf())
		return nil
	}, `SELECT `+lookBackColumns+` FROM lookback b ORDER BY b.leaf`)
}

func (a *audit) marks() error {
	return each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var row, lookBack, version, number int64
		var doubt, id string
		if err := rows.Scan(&row, &lookBack, &version, &doubt, &id, &number); err != nil {
			return err
		}
		a.check("mark", row, fmt.Sprintf("the mark %q on record %s, version %d,", doubt, id, number), markLeaf(lookBack, version, doubt))
		return nil
	}, `SELECT m.leaf, m.lookback, m.version, m.doubt, COALESCE(v.record, ''), COALESCE(v.number, 0)
		FROM mark m LEFT JOIN version v ON v.leaf = m.version ORDER BY m.leaf`)
}

func compareUsage(a, b usage) int {
	return cmp.Or(strings.Compare(a.instrument, b.instrument), strings.Compare(a.role, b.role))
}
