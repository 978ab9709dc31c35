package main

import (
	"encoding/binary"
	"errors"
	"sync"
)

// A carrier takes values from the workers of a set of files to the one goroutine
// that writes, in the order of the input: what travels in the bytes of a visitor is
// the number under which a value was put down. The zero carrier is ready.
type carrier[T any] struct {
	mu   sync.Mutex
	next uint64
	held map[uint64]T
}

// put puts a value down and appends its number to out.
func (c *carrier[T]) put(out []byte, v T) []byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.held == nil {
		c.held = map[uint64]T{}
	}
	c.next++
	c.held[c.next] = v
	return binary.LittleEndian.AppendUint64(out, c.next)
}

var errCarrier = errors.New("a value of a record was lost on its way")

// take returns the values whose numbers stand in chunk, in order.
func (c *carrier[T]) take(chunk []byte) ([]T, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(chunk)%8 != 0 {
		return nil, errCarrier
	}
	list := make([]T, 0, len(chunk)/8)
	for ; len(chunk) > 0; chunk = chunk[8:] {
		n := binary.LittleEndian.Uint64(chunk)
		v, ok := c.held[n]
		if !ok {
			return nil, errCarrier
		}
		delete(c.held, n)
		list = append(list, v)
	}
	return list, nil
}
