package ingest

import (
	"cmp"
	"slices"

	"nilvolt/formats"
)

// badRows collects mistakes in any order: it counts them and keeps the first ones
// of the input.
type badRows struct {
	first []placed
	total int
}

// A placed mistake knows the input that its row stands in.
type placed struct {
	input int
	err   *formats.RowError
}

func comparePlaced(a, b placed) int {
	return cmp.Or(cmp.Compare(a.input, b.input),
		cmp.Compare(a.err.Pos.Line, b.err.Pos.Line), cmp.Compare(a.err.Pos.Column, b.err.Pos.Column))
}

func (b *badRows) add(input int, err *formats.RowError) {
	b.total++
	b.keep(placed{input, err})
}

func (b *badRows) keep(p placed) {
	at, _ := slices.BinarySearchFunc(b.first, p, func(q, p placed) int {
		if comparePlaced(q, p) > 0 {
			return 1
		}
		return -1 // behind those at the same place
	})
	if at == formats.MaxListed {
		return
	}
	b.first = slices.Insert(b.first, at, p)
	b.first = b.first[:min(len(b.first), formats.MaxListed)]
}

func (b *badRows) merge(c *badRows) {
	b.total += c.total
	for _, p := range c.first {
		b.keep(p)
	}
}

// err returns what was collected as an error, nil when that is nothing.
func (b *badRows) err() error {
	if b.total == 0 {
		return nil
	}
	rows := &formats.BadRows{Total: b.total}
	for _, p := range b.first {
		rows.First = append(rows.First, p.err)
	}
	return rows
}
