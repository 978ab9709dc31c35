package ingest

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"slices"
	"sync"
	"sync/atomic"
)

const (
	hashParts = 1 << 8  // parts, by the highest 8 bits of the hash
	hashLimit = 1 << 18 // how many hashes are held in memory (2 MiB)
)

// hashes collects the hash of every run and finds those that come more than
// once. What is beyond the limit goes to a temporary file, so that memory stays
// bounded however many records there are.
type hashes struct {
	limit   int
	parts   [hashParts][]uint64
	held    int
	spill   *tempFile
	dir     string
	extents [hashParts][]extent
	size    int64
}

// An extent is where some hashes of a part stand in the temporary file.
type extent struct {
	offset int64
	count  int
}

func (h *hashes) add(hash uint64) error {
	part := &h.parts[hash>>56]
	*part = append(*part, hash)
	h.held++
	if h.held < h.limit {
		return nil
	}
	return h.flush()
}

// flush moves the hashes that are held to the temporary file.
func (h *hashes) flush() error {
	if h.spill == nil {
		spill, err := newTempFile(h.dir)
		if err != nil {
			return err
		}
		h.spill = spill
	}
	bytes := make([]byte, 0, h.held*8)
	for p, part := range h.parts {
		if len(part) == 0 {
			continue
		}
		h.extents[p] = append(h.extents[p], extent{h.size + int64(len(bytes)), len(part)})
		for _, hash := range part {
			bytes = binary.LittleEndian.AppendUint64(bytes, hash)
		}
		h.parts[p] = part[:0]
	}
	if _, err := h.spill.WriteAt(bytes, h.size); err != nil {
		return fmt.Errorf("temporary file: %w", err)
	}
	h.size += int64(len(bytes))
	h.held = 0
	return nil
}

// close removes the temporary file.
func (h *hashes) close() error {
	if h.spill == nil {
		return nil
	}
	return h.spill.Close()
}

// A repeatedHash is a hash that came more than once.
type repeatedHash struct {
	hash  uint64
	count int
}

// repeated returns the hashes that came more than once.
func (h *hashes) repeated(workers int) (list []repeatedHash, err error) {
	var lists [hashParts][]repeatedHash
	errs := make([]error, workers)
	var next atomic.Int64
	var group sync.WaitGroup
	for w := range workers {
		group.Go(func() {
			var table hashTable
			var all []uint64
			for p := next.Add(1) - 1; p < hashParts && errs[w] == nil; p = next.Add(1) - 1 {
				if all, errs[w] = h.read(int(p), all[:0]); errs[w] == nil {
					lists[p] = table.repeated(all)
				}
			}
		})
	}
	group.Wait()
	return slices.Concat(lists[:]...), errors.Join(errs...)
}

// read appends all hashes of a part to dst.
func (h *hashes) read(p int, dst []uint64) ([]uint64, error) {
	var bytes []byte
	for _, e := range h.extents[p] {
		bytes = grow(bytes, e.count*8)
		if n, err := h.spill.ReadAt(bytes, e.offset); n < len(bytes) {
			return nil, fmt.Errorf("temporary file: %w", err)
		}
		for i := range e.count {
			dst = append(dst, binary.LittleEndian.Uint64(bytes[i*8:]))
		}
	}
	return append(dst, h.parts[p]...), nil
}

// A hashTable maps hashes to numbers: open addressing, at most half full.
type hashTable struct {
	keys   []uint64
	values []int32
	used   []bool
	mask   uint64
}

// repeated returns the hashes that come more than once in all.
func (t *hashTable) repeated(all []uint64) (list []repeatedHash) {
	t.reset(len(all))
	for _, hash := range all {
		at, found := t.find(hash)
		switch {
		case !found:
			t.put(at, hash, -1)
		case t.values[at] < 0:
			t.values[at] = int32(len(list))
			list = append(list, repeatedHash{hash, 2})
		default:
			list[t.values[at]].count++
		}
	}
	return list
}

// reset empties the table and makes room for n hashes.
func (t *hashTable) reset(n int) {
	size := 16
	for size < 2*n {
		size *= 2
	}
	if size > len(t.keys) || size*4 < len(t.keys) {
		t.keys, t.values, t.used = make([]uint64, size), make([]int32, size), make([]bool, size)
	} else {
		clear(t.used)
	}
	t.mask = uint64(len(t.keys) - 1)
}

// find returns the place of hash, or the free place where it belongs.
func (t *hashTable) find(hash uint64) (at int, found bool) {
	// The high bits are alike within a part, so the low ones place it.
	for i := hash & t.mask; ; i = (i + 1) & t.mask {
		if !t.used[i] {
			return int(i), false
		}
		if t.keys[i] == hash {
			return int(i), true
		}
	}
}

func (t *hashTable) put(at int, hash uint64, value int32) {
	t.keys[at], t.values[at], t.used[at] = hash, value, true
}

// grow returns a slice of n bytes, in the memory of buf if it fits.
func grow(buf []byte, n int) []byte {
	if cap(buf) < n {
		return make([]byte, n)
	}
	return buf[:n]
}

// A tempFile is a file that is gone when it is closed.
type tempFile struct {
	*os.File
	name string // blank when the name has been removed already
}

func newTempFile(dir string) (*tempFile, error) {
	f, err := os.CreateTemp(dir, "nilvolt-*")
	if err != nil {
		return nil, err
	}
	t := &tempFile{File: f, name: f.Name()}
	// Where a file in use can be removed, nothing is left behind by a crash.
	if os.Remove(t.name) == nil {
		t.name = ""
	}
	return t, nil
}

// Close closes and removes the file.
func (t *tempFile) Close() error {
	err := t.File.Close()
	if t.name != "" {
		if removed := os.Remove(t.name); err == nil {
			err = removed
		}
	}
	return err
}
