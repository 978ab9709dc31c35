package ledger

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/zstd"
)

// partSize is how many bytes of a file are packed into one row.
const partSize = 4 << 20

// A Hash is the SHA-256 of a file.
type Hash = [sha256.Size]byte

// hashOf reads all of r.
func hashOf(r io.Reader) (h Hash, size int64, err error) {
	hash := sha256.New()
	size, err = io.Copy(hash, r)
	hash.Sum(h[:0])
	return h, size, err
}

func contentLeaf(sum, packed []byte, size, parts int64) leaf {
	return newLeaf(kindContent).bytes(sum).int(size).bytes(packed).int(parts)
}

// keep keeps the bytes that open gives, unless they are kept already, and returns
// their row. sum is their hash: bytes that have another by now are an error.
func (t *Tx) keep(sum Hash, open func() (io.ReadCloser, error)) (int64, error) {
	var row int64
	err := t.tx.QueryRowContext(t.ctx, `SELECT leaf FROM content WHERE sha256 = $1`, sum[:]).Scan(&row)
	if !errors.Is(err, sql.ErrNoRows) {
		return row, err
	}
	r, err := open()
	if err != nil {
		return 0, err
	}
	defer r.Close()
	packed, size, err := t.pack(r, sum)
	if err != nil {
		return 0, err
	}
	all := sha256.New()
	for _, part := range packed {
		all.Write(part)
	}
	packedSum := all.Sum(nil)
	if row, err = t.leaf(contentLeaf(sum[:], packedSum, size, int64(len(packed)))); err != nil {
		return 0, err
	}
	err = t.exec(`INSERT INTO content (leaf, sha256, size, packed, parts) VALUES ($1, $2, $3, $4, $5)`,
		row, sum[:], size, packedSum, len(packed))
	if err != nil {
		return 0, err
	}
	for i, part := range packed {
		err := t.exec(`INSERT INTO content_part (content, part, packed) VALUES ($1, $2, $3)`, row, i, part)
		if err != nil {
			return 0, err
		}
	}
	return row, nil
}

// KeepFile keeps a file outside an upload, such as the policy by which records are
// judged again, and returns its row.
func (t *Tx) KeepFile(data []byte) (int64, error) {
	return t.keep(sha256.Sum256(data), func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(data)), nil })
}

// pack reads r to its end and returns its parts, packed. The packed bytes are held
// in memory: the leaf that binds them comes before them.
func (t *Tx) pack(r io.Reader, sum Hash) (parts [][]byte, size int64, err error) {
	encoder, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderLevel(zstd.SpeedFastest))
	if err != nil {
		return nil, 0, err
	}
	defer func() { _ = encoder.Close() }() // EncodeAll leaves nothing to flush
	hash := sha256.New()
	buf := make([]byte, partSize)
	for {
		if err := t.ctx.Err(); err != nil {
			return nil, 0, err
		}
		n, err := io.ReadFull(r, buf)
		if n > 0 {
			hash.Write(buf[:n])
			size += int64(n)
			parts = append(parts, encoder.EncodeAll(buf[:n], nil))
		}
		switch {
		case err == io.EOF || err == io.ErrUnexpectedEOF:
			if !bytes.Equal(hash.Sum(nil), sum[:]) {
				return nil, 0, errors.New("changed while it was read; read it again when nothing writes to it")
			}
			return parts, size, nil
		case err != nil:
			return nil, 0, err
		}
	}
}

// unpack writes the bytes of a content to w and returns how many.
func unpack(ctx context.Context, q querier, row int64, w io.Writer) (size int64, err error) {
	decoder, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(2*partSize))
	if err != nil {
		return 0, err
	}
	defer decoder.Close()
	var buf []byte
	err = each(ctx, q, func(rows *sql.Rows) error {
		var packed []byte
		if err := rows.Scan(&packed); err != nil {
			return err
		}
		if buf, err = decoder.DecodeAll(packed, buf[:0]); err != nil {
			return fmt.Errorf("content %d: %w", row, err)
		}
		size += int64(len(buf))
		_, err := w.Write(buf)
		return err
	}, `SELECT packed FROM content_part WHERE content = $1 ORDER BY part`, row)
	return size, err
}

// ErrAltered says that a kept file is not what came.
var ErrAltered = errors.New("the kept file is not what came: it was altered")

// unpackWhole is unpack for a file that must be what came.
func unpackWhole(ctx context.Context, q querier, row int64, w io.Writer) (size int64, err error) {
	var sum []byte
	if err := q.QueryRowContext(ctx, `SELECT sha256 FROM content WHERE leaf = $1`, row).Scan(&sum); err != nil {
		return 0, err
	}
	hash := sha256.New()
	size, err = unpack(ctx, q, row, io.MultiWriter(w, hash))
	if err == nil && !bytes.Equal(hash.Sum(nil), sum) {
		err = ErrAltered
	}
	return size, err
}

// Content returns the bytes of a kept file by its row.
func (t *Tx) Content(row int64) ([]byte, error) { return content(t.ctx, t.tx, row) }

// Content returns the bytes of a kept file by its row, as an upload names it.
func (l *Ledger) Content(ctx context.Context, row int64) ([]byte, error) {
	return content(ctx, l.db, row)
}

func content(ctx context.Context, q querier, row int64) ([]byte, error) {
	var b bytes.Buffer
	_, err := unpackWhole(ctx, q, row, &b)
	return b.Bytes(), err
}
