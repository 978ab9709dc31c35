package ledger

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"nilvolt/record"
)

// An Inclusion proves, without the ledger, that a version of a record and a
// judgement of it stand in the log under a signed checkpoint. As JSON it can be
// handed on and kept anywhere.
type Inclusion struct {
	Record     string      `json:"record"`
	Number     int         `json:"version"`
	Status     string      `json:"status"`
	Version    ProvedLeaf  `json:"version_leaf"`
	Judgement  *ProvedLeaf `json:"judgement_leaf"`
	Evidence   []byte      `json:"evidence"` // as it is kept, see evidence.go
	Checkpoint string      `json:"checkpoint"`
}

// A ProvedLeaf is a leaf with its audit path (RFC 6962, 2.1.1).
type ProvedLeaf struct {
	Index  int64       `json:"index"`
	Leaf   []byte      `json:"leaf"` // what is hashed, see chain.go
	Hashes []tlog.Hash `json:"hashes"`
}

// Prove returns the proof of a version and its newest judgement.
func (l *Ledger) Prove(ctx context.Context, version int64) (*Inclusion, error) {
	return l.ProveJudgement(ctx, version, 0)
}

// ProveJudgement returns the proof of a version and one of its judgements, the newest
// for 0. Where there is no such version, or no such judgement of it, it is
// ErrNoSuchVersion.
func (l *Ledger) ProveJudgement(ctx context.Context, version, judgement int64) (*Inclusion, error) {
	tx, err := l.snapshot(ctx)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	out := &Inclusion{}
	var leaves int64
	err = tx.QueryRowContext(ctx, `SELECT leaves, note FROM checkpoint ORDER BY leaves DESC LIMIT 1`).Scan(&leaves, &out.Checkpoint)
	if err != nil {
		return nil, err
	}
	if version >= leaves || judgement >= leaves { // which a database may not even take for a number
		return nil, ErrNoSuchVersion
	}
	list, err := items(ctx, tx, "WHERE v.leaf = $1", version)
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, ErrNoSuchVersion
	}
	item := list[0]
	if judgement == 0 {
		judgement = item.Judgement.ID
	}
	out.Record, out.Number = item.Record, item.Number
	var digest []byte
	var copyKey sql.NullInt64
	err = tx.QueryRowContext(ctx, `SELECT digest, evidence, copy_key FROM version WHERE leaf = $1`, version).Scan(&digest, &out.Evidence, &copyKey)
	if err != nil {
		return nil, err
	}
	var judging int64
	var failed, findings string
	err = tx.QueryRowContext(ctx, `SELECT judging, status, failed, findings FROM judgement WHERE leaf = $1 AND version = $2`, judgement, version).
		Scan(&judging, &out.Status, &failed, &findings)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, ErrNoSuchVersion
	}
	if err != nil {
		return nil, err
	}
	t := newTree(leaves, tileLoader(ctx, tx))
	prove := func(index int64, l leaf) (ProvedLeaf, error) {
		path, err := tlog.ProveRecord(leaves, index, t)
		return ProvedLeaf{Index: index, Leaf: l, Hashes: path}, err
	}
	out.Version, err = prove(version, versionLeaf(item.Record, int64(item.Number), item.Upload, digest, out.Evidence, copyKey))
	if err != nil {
		return nil, err
	}
	proved, err := prove(judgement, judgementLeaf(judging, version, out.Status, failed, findings))
	out.Judgement = &proved
	return out, err
}

// Check verifies the proof with the public key of the ledger, and returns the
// record that it proves. Nothing else is asked.
func (p *Inclusion) Check(verifierKey string) (*record.Record, error) {
	signed, err := OpenCheckpoint(p.Checkpoint, verifierKey)
	if err != nil {
		return nil, err
	}
	if p.Judgement == nil {
		return nil, errors.New("the proof has no judgement")
	}
	for name, leaf := range map[string]*ProvedLeaf{"version": &p.Version, "judgement": p.Judgement} {
		if err := tlog.CheckRecord(leaf.Hashes, signed.Leaves, signed.Root, leaf.Index, tlog.RecordHash(leaf.Leaf)); err != nil {
			return nil, fmt.Errorf("the %s is not what stands in the log at %d", name, leaf.Index)
		}
	}
	version := columnsOf(p.Version.Leaf, kindVersion)
	if len(version) < 5 || string(version[0]) != p.Record || !version.isInt(1, int64(p.Number)) {
		return nil, errors.New("the proof is that of another record or version")
	}
	if sum := sha256.Sum256(p.Evidence); string(version[4]) != string(sum[:]) {
		return nil, errors.New("the evidence is not that of the log")
	}
	judgement := columnsOf(p.Judgement.Leaf, kindJudgement)
	if len(judgement) != 5 || !judgement.isInt(1, p.Version.Index) || string(judgement[2]) != p.Status {
		return nil, errors.New("the judgement is that of another version, or says something else")
	}
	return decodeEvidence(p.Record, p.Evidence)
}

// columns are the columns that a leaf binds.
type columns [][]byte

// columnsOf takes a leaf of a kind apart; nil if it is none.
func columnsOf(data []byte, k kind) columns {
	text, ok := strings.CutPrefix(string(data), string(newLeaf(k)))
	if !ok {
		return nil
	}
	rest := []byte(text)
	var out columns
	for len(rest) > 0 {
		n, size := binary.Uvarint(rest)
		if size <= 0 || n > uint64(len(rest)-size) {
			return nil
		}
		out = append(out, rest[size:size+int(n)])
		rest = rest[size+int(n):]
	}
	return out
}

// isInt reports whether column i is the number n.
func (c columns) isInt(i int, n int64) bool {
	return len(c[i]) == 8 && binary.BigEndian.Uint64(c[i]) == uint64(n)
}

// A Consistency proves that the log of a later checkpoint extends that of an
// earlier one (RFC 6962, 2.1.2).
type Consistency struct {
	Earlier string      `json:"earlier"` // signed checkpoints
	Later   string      `json:"later"`
	Hashes  []tlog.Hash `json:"hashes"`
}

// Extends returns the proof that the ledger extends an earlier checkpoint, which
// was kept elsewhere. That it does so is found by [Consistency.Check].
func (l *Ledger) Extends(ctx context.Context, earlier string) (*Consistency, error) {
	tx, err := l.snapshot(ctx)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	before, err := OpenCheckpoint(earlier, l.verifier)
	if err != nil {
		return nil, err
	}
	out := &Consistency{Earlier: earlier}
	var leaves int64
	err = tx.QueryRowContext(ctx, `SELECT leaves, note FROM checkpoint ORDER BY leaves DESC LIMIT 1`).Scan(&leaves, &out.Later)
	if err != nil {
		return nil, err
	}
	if before.Leaves > leaves || before.Leaves == 0 {
		return nil, fmt.Errorf("the ledger has %d leaves and the checkpoint %d: what came last was removed", leaves, before.Leaves)
	}
	out.Hashes, err = tlog.ProveTree(leaves, before.Leaves, newTree(leaves, tileLoader(ctx, tx)))
	return out, err
}

// Check verifies the proof with the public key of the ledger.
func (c *Consistency) Check(verifierKey string) error {
	earlier, err := OpenCheckpoint(c.Earlier, verifierKey)
	if err != nil {
		return err
	}
	later, err := OpenCheckpoint(c.Later, verifierKey)
	if err != nil {
		return err
	}
	if err := CheckExtends(c.Hashes, later, earlier); err != nil {
		return fmt.Errorf("the log does not extend the earlier checkpoint: %w", err)
	}
	return nil
}

// Checkpoint returns the newest signed checkpoint, to be kept elsewhere.
func (l *Ledger) Checkpoint(ctx context.Context) (string, error) {
	var signed string
	err := l.db.QueryRowContext(ctx, `SELECT note FROM checkpoint ORDER BY leaves DESC LIMIT 1`).Scan(&signed)
	return signed, err
}
