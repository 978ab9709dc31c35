package ingest

import "fmt"

// A piece is one run of rows of a scattered record.
type piece struct {
	start int64  // bytes into the input
	line  int64  // of the first row
	size  uint32 // bytes
	input uint32
	next  uint32 // the next piece of the record, 0 for none
}

// end returns where the piece ends.
func (p *piece) end() int64 { return p.start + int64(p.size) }

// holds reports whether the byte at offset of an input lies in the piece.
func (p *piece) holds(input int, offset int64) bool {
	return int(p.input) == input && p.start <= offset && offset < p.end()
}

// A group is the pieces of the records of one hash; of one record, but for a
// collision of hashes.
type group struct {
	first, last uint32 // of the pieces
	doubtful    bool   // rows beside a piece may belong to the record
}

// scattered knows the records whose rows do not lie in one stretch.
type scattered struct {
	table  hashTable
	groups []group
	pieces []piece // 0 is none
}

func newScattered(list []repeatedHash) *scattered {
	s := &scattered{groups: make([]group, len(list))}
	s.table.reset(len(list))
	count := 0
	for i, r := range list {
		at, _ := s.table.find(r.hash)
		s.table.put(at, r.hash, int32(i))
		count += r.count
	}
	s.pieces = make([]piece, 1, count+1)
	return s
}

// find returns the group of hash, nil when its record is not scattered.
func (s *scattered) find(hash uint64) *group {
	at, found := s.table.find(hash)
	if !found {
		return nil
	}
	return &s.groups[s.table.values[at]]
}

// add notes a run if it belongs to a scattered record.
func (s *scattered) add(input int, r *run) error {
	g := s.find(r.hash)
	if g == nil {
		return nil
	}
	size := r.end - r.start
	if size > 1<<32-1 || int64(len(s.pieces)) > 1<<32-1 {
		return fmt.Errorf("a scattered record has more than 4 GiB in one place, or there are more than 4 billion places")
	}
	at := uint32(len(s.pieces))
	s.pieces = append(s.pieces, piece{start: r.start, line: r.line, size: uint32(size), input: uint32(input)})
	if g.first == 0 {
		g.first = at
	} else {
		s.pieces[g.last].next = at
	}
	g.last = at
	g.doubtful = g.doubtful || r.doubtful
	return nil
}
