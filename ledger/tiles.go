package ledger

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"

	"golang.org/x/mod/sumdb/tlog"
)

// tileLoader returns the function with which a tree fetches its tiles.
func tileLoader(ctx context.Context, q querier) func(tile) ([]tlog.Hash, error) {
	return func(id tile) ([]tlog.Hash, error) {
		var data []byte
		err := q.QueryRowContext(ctx, `SELECT hashes FROM tile WHERE level = $1 AND number = $2`, id.level, id.number).Scan(&data)
		if err != nil {
			return nil, fmt.Errorf("hashes of the log, level %d, tile %d: %w", id.level, id.number, err)
		}
		return parseHashes(data), nil
	}
}

// parseHashes cuts bytes into hashes; what is left over is no hash.
func parseHashes(data []byte) []tlog.Hash {
	hashes := make([]tlog.Hash, 0, tileWidth)
	for len(data) >= tlog.HashSize {
		hashes = append(hashes, tlog.Hash(data[:tlog.HashSize]))
		data = data[tlog.HashSize:]
	}
	return hashes
}

// writeTiles writes the tiles that have changed.
func (t *Tx) writeTiles() error {
	changed := slices.SortedFunc(maps.Keys(t.tree.changed), func(a, b tile) int {
		return cmp.Or(cmp.Compare(a.level, b.level), cmp.Compare(a.number, b.number))
	})
	var data []byte
	for _, id := range changed {
		data = data[:0]
		for _, h := range t.tree.tiles[id] {
			data = append(data, h[:]...)
		}
		err := t.exec(`INSERT INTO tile (level, number, hashes) VALUES ($1, $2, $3)
			ON CONFLICT (level, number) DO UPDATE SET hashes = excluded.hashes`, id.level, id.number, data)
		if err != nil {
			return err
		}
	}
	return nil
}
