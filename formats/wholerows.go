package formats

import (
	"bytes"
	"strings"
)

// WholeRows returns how many bytes of buf, which begins with a row, are rows that
// surely end in it; 0 when not even the first does. It finds the same ends as
// SplitRow, without splitting where that can be avoided.
func WholeRows(buf []byte, comma byte) int {
	quotes := bytes.Count(buf, []byte{'"'})
	if quotes == 0 {
		return bytes.LastIndexByte(buf, '\n') + 1
	}
	// A line end with an even number of quotes before it is outside of quoted
	// fields, provided that no quote stands within an unquoted field.
	for end := len(buf); ; {
		k := bytes.LastIndexByte(buf[:end], '\n')
		if k < 0 {
			break
		}
		quotes -= bytes.Count(buf[k:end], []byte{'"'})
		if quotes%2 == 0 {
			return k + 1
		}
		end = k
	}
	return splitRows(string(buf), comma)
}

// splitRows is WholeRows row by row.
func splitRows(text string, comma byte) int {
	var fields []Field
	for i := 0; i < len(text); {
		var n int
		var problem *Problem
		fields, n, _, problem = SplitRow(text[i:], comma, fields[:0])
		openEnd := problem != nil && problem.Message == openQuote
		if openEnd || !strings.HasSuffix(text[i:i+n], "\n") {
			return i
		}
		i += n
	}
	return len(text)
}
