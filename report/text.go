package report

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// A span is text of one look.
type span struct {
	text string
	bold bool
	data bool   // from a record: its first letter decides how it runs
	href string // where it leads: a file beside this one, or #id; blank for nowhere
}

// A words is what stands in a paragraph or a cell of a table.
type words []span

// say is text of our own.
func say(format string, args ...any) words {
	if len(args) > 0 {
		format = fmt.Sprintf(format, args...)
	}
	return words{{text: format}}
}

// stress is text of our own in bold.
func stress(text string) words { return words{{text: text, bold: true}} }

// given is text that a record or a register holds.
func given(text string) words { return words{{text: text, data: true}} }

// and puts words one behind the other.
func (w words) and(more ...words) words {
	out := append(words(nil), w...)
	for _, m := range more {
		out = append(out, m...)
	}
	return out
}

// linked makes words lead somewhere.
func (w words) linked(href string) words {
	out := append(words(nil), w...)
	for i := range out {
		out[i].href = href
	}
	return out
}

// String returns the text alone.
func (w words) String() string {
	var b strings.Builder
	for _, s := range w {
		b.WriteString(s.text)
	}
	return b.String()
}

// codePoint is how a character is shown that cannot be seen.
func codePoint(r rune) string { return fmt.Sprintf("[U+%04X]", r) }

// visible makes text fit to be seen: letters and their marks in one where Unicode has
// such a sign, ends of lines as an arrow, and what steers the text and cannot be seen,
// such as a sign that turns its direction, as its code point. The signs that make
// Arabic letters join or not do their work and stay.
func visible(text string) string {
	if isPlain(text) {
		return text
	}
	text = strings.ReplaceAll(strings.ToValidUTF8(text, "\ufffd"), "\r\n", "\n")
	var b strings.Builder
	runes := []rune(norm.NFC.String(text))
	for i, r := range runes {
		switch {
		case r == '\n':
			b.WriteString(" ↵ ")
		case r == '\t', r == '\u00a0', r == '\u202f':
			b.WriteRune(' ')
		case r == joiner || r == nonJoiner:
			if i == 0 || i == len(runes)-1 || !isArabic(runes[i-1]) || !isArabic(runes[i+1]) {
				b.WriteString(codePoint(r))
				continue
			}
			b.WriteRune(r)
		case r != ' ' && (unicode.In(r, unicode.C, unicode.Z) || unicode.Is(unicode.Variation_Selector, r)):
			b.WriteString(codePoint(r))
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// isPlain reports whether text is of the printable characters of ASCII only.
func isPlain(text string) bool {
	for i := range len(text) {
		if text[i] < ' ' || text[i] > '~' {
			return false
		}
	}
	return true
}

// A glyph is a character as it is drawn.
type glyph struct {
	r     rune   // gone where the character before it stands for both
	was   string // the characters for which it stands
	face  face
	width int // thousandths of the size
	span  int // of the words
	level uint8
}

// isForm reports whether the glyph is a form of the letter that it stands for. Lam with
// alef stays the one sign that it is: readers of PDF disagree on the order of two.
func (g *glyph) isForm() bool {
	return g.r >= 0xfb50 && utf8.RuneCountInString(g.was) == 1 && g.was != string(g.r)
}

// A textLine is a line of text as it is seen, from left to right.
type textLine struct {
	glyphs []glyph
	width  float64 // in the unit of the size
}

// shape makes glyphs of words: characters that no font has become their code points,
// Arabic letters join, and every one has its level of direction.
func shape(w words) []glyph {
	var runes []rune
	var spans []int
	plain := true
	for i, s := range w {
		text := visible(s.text)
		plain = plain && isPlain(text)
		for _, r := range text {
			if _, _, ok := faceFor(r, s.bold); !ok && r != joiner && r != nonJoiner {
				for _, c := range codePoint(r) {
					runes, spans = append(runes, c), append(spans, i)
				}
				continue
			}
			runes, spans = append(runes, r), append(spans, i)
		}
	}
	out := make([]glyph, 0, len(runes))
	if plain {
		for i, r := range runes {
			out = appendGlyph(out, r, string(r), w, spans[i], 0)
		}
		return out
	}
	level := make([]uint8, 0, len(runes))
	for start := 0; start < len(runes); { // each span runs for itself, whatever stands beside it
		end := start
		for end < len(runes) && spans[end] == spans[start] {
			end++
		}
		level = append(level, levels(runes[start:end], !w[spans[start]].data)...)
		start = end
	}
	forms := append([]rune(nil), runes...)
	joinArabic(forms)
	for i, r := range forms {
		switch r {
		case gone:
			out[len(out)-1].was += string(runes[i])
		case joiner, nonJoiner: // it has done its work
		default:
			out = appendGlyph(out, r, string(runes[i]), w, spans[i], level[i])
		}
	}
	return out
}

func appendGlyph(out []glyph, r rune, was string, w words, span int, level uint8) []glyph {
	if level%2 == 1 {
		r = mirrored(r)
	}
	f, width, ok := faceFor(r, w[span].bold)
	if !ok { // a form of a letter that no font has, though it has the letter
		r = []rune(was)[0]
		f, width, _ = faceFor(r, w[span].bold)
	}
	return append(out, glyph{r: r, was: was, face: f, width: width, span: span, level: level})
}

// lay breaks words into lines no wider than width, both in the unit of size.
func lay(w words, size, width float64) []textLine {
	glyphs := shape(w)
	most := int(width / size * 1000)
	var out []textLine
	for len(glyphs) > 0 {
		end, next := breakLine(glyphs, most)
		out = append(out, seen(glyphs[:end], size))
		glyphs = glyphs[next:]
	}
	if out == nil {
		out = []textLine{{}}
	}
	return out
}

// breakLine returns where the first line of glyphs ends and where the next begins: at
// the last place that allows it, else wherever it is full, but never before a mark
// that belongs to the letter before it.
func breakLine(glyphs []glyph, most int) (end, next int) {
	total, last := 0, 0
	for i := range glyphs {
		if glyphs[i].r != ' ' && total+glyphs[i].width > most && i > 0 {
			if last == 0 {
				for last = i; last > 1 && unicode.Is(unicode.M, glyphs[last].r); last-- {
				}
			}
			end, next = last, last
			break
		}
		total += glyphs[i].width
		end, next = i+1, i+1
		if i+1 < len(glyphs) && breaksBetween(glyphs[i].r, glyphs[i+1].r) {
			last = i + 1
		}
	}
	for end > 1 && glyphs[end-1].r == ' ' {
		end--
	}
	for next < len(glyphs) && glyphs[next].r == ' ' {
		next++
	}
	return end, next
}

// breaksBetween reports whether a line may end between two characters: behind blanks
// and strokes, between the signs of Chinese and Japanese.
func breaksBetween(a, b rune) bool {
	switch {
	case b == ' ' || unicode.In(b, unicode.M, unicode.Pe, unicode.Pf):
		return false
	case a == ' ' || a == '–' || a == '—' || a == ']' || a == '·':
		return true
	case a == '/' || a == '_':
		return unicode.IsLetter(b)
	case unicode.In(a, unicode.Ps, unicode.Pi), b == '。' || b == '、' || b == ',' || b == '.' || b == 'ー':
		return false
	}
	return isWide(a) || isWide(b)
}

// isWide reports whether r is a sign between which lines may end.
func isWide(r rune) bool {
	return r >= 0x2e80 && (r < 0xa4d0 || r >= 0xf900 && r < 0xfb00 || r >= 0xfe30 && r < 0xfe50 || r >= 0xff00 && r < 0xff61)
}

// seen brings the glyphs of a line into the order in which they are seen.
func seen(glyphs []glyph, size float64) textLine {
	l := textLine{glyphs: glyphs}
	total, turned := 0, false
	for i := range glyphs {
		total += glyphs[i].width
		turned = turned || glyphs[i].level > 0
	}
	l.width = float64(total) * size / 1000
	if !turned {
		return l
	}
	level := make([]uint8, len(glyphs))
	for i := range glyphs {
		level[i] = glyphs[i].level
	}
	l.glyphs = make([]glyph, len(glyphs))
	for i, from := range visual(level) {
		l.glyphs[i] = glyphs[from]
	}
	return l
}

// widthOf returns the width of words on one line, in the unit of size.
func widthOf(w words, size float64) float64 {
	return seen(shape(w), size).width
}
