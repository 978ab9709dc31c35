package capture

import (
	"fmt"

	"nilvolt/record"
)

// MaxLine is how many bytes a line may have. What is longer is no line: nothing that
// an indicator says of one reading takes a quarter of it.
const MaxLine = 4096

// enoughBytes is how many bytes are looked at before anything is said of the speed.
const enoughBytes = 32

// count counts what arrived and how much of it is no text.
func (p *port) count(data string) {
	p.bytes += len(data)
	for i := range len(data) {
		if c := data[i]; c < ' ' && c != '\t' && c != '\r' && c != '\n' || c >= 0x7f {
			p.odd++
		}
	}
}

// hearSpeed tells once when no line could be read and much of what arrived is no
// text: at a wrong speed, or with another framing, characters become others, of which
// half or more have the highest bit or are control characters.
func (s *State) hearSpeed(e Entry, at record.Instant) {
	p := &s.ports[e.Port]
	if p.asked || p.decoded > 0 || p.bytes < enoughBytes || p.odd*4 < p.bytes {
		return
	}
	p.asked = true
	s.notices = append(s.notices, Notice{Line: e.Line, Time: at, Urgent: true, Text: fmt.Sprintf(
		"the %s looks like the wrong speed: %d of %d bytes are no text (%s); end, look in its manual, and begin again with --baud, --bits, --parity and --stop",
		e.Port, p.odd, p.bytes, p.at.Settings)})
}
