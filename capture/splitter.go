package capture

// A splitter cuts what arrives at a port into lines, as it comes in pieces of any
// size. A line ends with LF, CR LF or CR.
type splitter struct{ buf []byte }

// A cut is a line with its end, or a part of one.
type cut struct {
	data  string
	whole bool
}

// feed takes data and returns the lines that are whole, and parts of what is too long
// for one.
func (s *splitter) feed(data []byte) (cuts []cut) {
	s.buf = append(s.buf, data...)
	start := 0
	for i := 0; i < len(s.buf); i++ {
		switch c := s.buf[i]; {
		case c == '\n':
		case c == '\r' && i+1 < len(s.buf) && s.buf[i+1] != '\n':
		case c != '\r' && i-start == MaxLine:
			cuts = append(cuts, cut{string(s.buf[start : i+1]), false})
			start = i + 1
			continue
		default:
			continue
		}
		cuts = append(cuts, cut{string(s.buf[start : i+1]), true})
		start = i + 1
	}
	s.buf = s.buf[:copy(s.buf, s.buf[start:])]
	return cuts
}

// idle is told that nothing came for a while, or that nothing more will: what ends
// with CR is a line, anything else a part of one.
func (s *splitter) idle() []cut {
	if len(s.buf) == 0 {
		return nil
	}
	last := cut{string(s.buf), s.buf[len(s.buf)-1] == '\r'}
	s.buf = s.buf[:0]
	return []cut{last}
}
