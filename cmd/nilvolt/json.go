package main

import (
	"encoding/binary"
	"strconv"
	"unicode/utf8"

	"nilvolt/record"
	"nilvolt/verify"
)

// A jsonWriter writes judgements as JSON lines, an object a record. Millions of
// records pass through it, so it appends to a buffer and reflects on nothing. It
// belongs to one goroutine; the zero value is ready.
type jsonWriter struct {
	file    string // the file name last written
	escaped []byte // a quote and its text

	// The texts of statuses and supplies that were written.
	statuses [32]statusText

	// Findings without indicator, pairs and lines that were written. The same few
	// come again in record after record, as not-recorded does.
	bare [16]bareFinding
}

// A statusText is what stands between the id of a record and its findings.
type statusText struct {
	status  record.Status
	supply  record.Supply
	written string
}

// A bareFinding is a finding without indicator, pairs and lines with its object.
type bareFinding struct {
	rule     record.Rule
	severity record.Severity
	message  string
	written  []byte
}

// append appends the object of j and a line feed to out.
func (w *jsonWriter) append(out []byte, j *verify.Judgement) []byte {
	out = append(out, `{"record":"`...)
	out = appendEscaped(out, j.Record)
	out = w.appendStatus(out, j)
	for i := range j.Findings {
		if i > 0 {
			out = append(out, ',')
		}
		if f := &j.Findings[i]; len(f.Tested) == 0 && len(f.Lines) == 0 && f.Indicator == "" {
			out = w.appendBare(out, f)
		} else {
			out = w.appendFinding(out, f)
		}
	}
	proofs, shared := j.SharedProofs()
	if proofs == 0 {
		return append(out, "]}\n"...)
	}
	out = append(out, `],"proofs":{"shown":`...)
	out = strconv.AppendInt(out, int64(proofs), 10)
	out = append(out, `,"shared":`...)
	out = strconv.AppendInt(out, int64(shared), 10)
	return append(out, "}}\n"...)
}

// appendStatus appends what stands between the id of j and its findings. Every
// status and supply that has a word has a place of its own.
func (w *jsonWriter) appendStatus(out []byte, j *verify.Judgement) []byte {
	s := &w.statuses[(uint(j.Supply)*4+uint(j.Status))%uint(len(w.statuses))]
	if s.written == "" || s.status != j.Status || s.supply != j.Supply {
		s.status, s.supply = j.Status, j.Supply
		s.written = `","status":"` + j.Status.String() + `","supply":"` + j.Supply.String() + `","findings":[`
	}
	return append(out, s.written...)
}

// appendBare is appendFinding for one without indicator, pairs and lines. Those of
// one length take each other's place.
func (w *jsonWriter) appendBare(out []byte, f *record.Finding) []byte {
	b := &w.bare[len(f.Message)%len(w.bare)]
	if f.Rule != b.rule || f.Severity != b.severity || f.Message != b.message {
		b.rule, b.severity, b.message = f.Rule, f.Severity, f.Message
		b.written = w.appendFinding(b.written[:0], f)
	}
	return append(out, b.written...)
}

func (w *jsonWriter) appendFinding(out []byte, f *record.Finding) []byte {
	out = append(out, `{"rule":"`...)
	out = append(out, f.Rule.String()...)
	out = append(out, `","severity":"`...)
	out = append(out, f.Severity.String()...)
	out = append(out, `","indicator":"`...)
	out = appendEscaped(out, f.Indicator)
	out = append(out, `","pairs":[`...)
	for i := range f.Tested {
		t := &f.Tested[i]
		if i > 0 {
			if reads(t, &f.Tested[i-1]) {
				continue
			}
			out = append(out, ',')
		}
		out = append(out, '"')
		out = t.Append(out) // no character of a conductor's name needs an escape
		out = append(out, '"')
	}
	out = append(out, `],"lines":[`...)
	for i := range f.Lines {
		if i > 0 {
			out = append(out, ',')
		}
		out = w.appendPlace(out, &f.Lines[i])
	}
	out = append(out, `],"message":"`...)
	out = appendEscaped(out, f.Message)
	return append(out, `"}`...)
}

// reads reports whether two pairs read the same; they may be of two points.
func reads(a, b *record.Tested) bool { return a.Pair == b.Pair && a.Switch == b.Switch }

// appendPlace appends "file:line"; the column says nothing of a whole row.
func (w *jsonWriter) appendPlace(out []byte, pos *record.Pos) []byte {
	if pos.File != w.file || w.escaped == nil {
		w.file = pos.File
		w.escaped = appendEscaped(append(w.escaped[:0], '"'), pos.File)
	}
	out = append(out, w.escaped...)
	if pos.Line > 0 {
		out = append(out, ':')
		out = strconv.AppendInt(out, int64(pos.Line), 10)
	}
	return append(out, '"')
}

// appendJSON appends s as a JSON string.
func appendJSON(out []byte, s string) []byte {
	out = append(out, '"')
	out = appendEscaped(out, s)
	return append(out, '"')
}

// appendEscaped appends s as it stands within a JSON string (RFC 8259, 7). Bytes
// that are no UTF-8 become U+FFFD. The three line ends of Unicode are escaped
// too, since some readers of JSON lines divide text at them.
func appendEscaped(out []byte, s string) []byte {
	for {
		n := plainJSON(s)
		out = append(out, s[:n]...)
		if n == len(s) {
			return out
		}
		r, size := utf8.DecodeRuneInString(s[n:])
		out = appendEscapedRune(out, r)
		s = s[n+size:]
	}
}

func appendEscapedRune(out []byte, r rune) []byte {
	const hex = "0123456789abcdef"
	switch {
	case r == '"' || r == '\\':
		return append(out, '\\', byte(r))
	case r == '\n':
		return append(out, `\n`...)
	case r == '\r':
		return append(out, `\r`...)
	case r == '\t':
		return append(out, `\t`...)
	case r < ' ' || r == '\u0085' || r == '\u2028' || r == '\u2029':
		return append(out, '\\', 'u', hex[r>>12&15], hex[r>>8&15], hex[r>>4&15], hex[r&15])
	}
	return utf8.AppendRune(out, r) // RuneError is U+FFFD itself
}

// plainJSON returns how many bytes at the start of s are ASCII that stands as it
// is within a JSON string, eight at a time.
func plainJSON(s string) int {
	const ones, highs = 0x0101010101010101, 0x8080808080808080
	n := 0
	for ; n <= len(s)-8; n += 8 {
		v := binary.LittleEndian.Uint64([]byte(s[n : n+8]))
		// A high bit is set for a byte that is not ASCII, is a backslash, which the
		// exclusive or makes 0, or is a quote or below the space, which it makes less
		// than '!'. A borrow can only reach the byte above one that has its own bit set.
		if (v|((v^ones*'\\')-ones)|((v^ones*('"'^' '))-ones*'!'))&highs != 0 {
			break
		}
	}
	for n < len(s) && !escapedJSON[s[n]] {
		n++
	}
	return n
}

// escapedJSON tells the bytes that plainJSON stops at.
var escapedJSON = func() (stops [256]bool) {
	for c := range stops {
		stops[c] = c < ' ' || c == '"' || c == '\\' || c >= utf8.RuneSelf
	}
	return stops
}()
