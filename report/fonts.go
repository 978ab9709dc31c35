package report

import (
	"embed"
	"fmt"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

//go:embed fonts/*.ttf
var fontFiles embed.FS

// A face is one of the embedded fonts.
type face uint8

const (
	regular face = iota
	strong
	wide // Chinese and Japanese
	numFaces
)

// file returns the bytes of the font, a new copy at each call.
func (f face) file() []byte {
	name := [numFaces]string{"DejaVuSansCondensed", "DejaVuSansCondensed-Bold", "DroidSansFallbackFull"}[f]
	data, err := fontFiles.ReadFile("fonts/" + name + ".ttf")
	if err != nil {
		panic(err) // it is part of the program
	}
	return data
}

// A metrics holds the advance of each character of the basic plane, in thousandths of
// the size; -1 where the font has no such character. A PDF writes no others.
type metrics [1 << 16]int16

var faceMetrics = [numFaces]func() *metrics{
	sync.OnceValue(func() *metrics { return measureFont(regular) }),
	sync.OnceValue(func() *metrics { return measureFont(strong) }),
	sync.OnceValue(func() *metrics { return measureFont(wide) }),
}

func measureFont(f face) *metrics {
	parsed, err := sfnt.Parse(f.file())
	if err != nil {
		panic(fmt.Sprintf("embedded font %d: %v", f, err))
	}
	em := int(parsed.UnitsPerEm())
	var buf sfnt.Buffer
	m := new(metrics)
	for r := range m {
		m[r] = -1
		glyph, err := parsed.GlyphIndex(&buf, rune(r))
		if err != nil || glyph == 0 {
			continue
		}
		if advance, err := parsed.GlyphAdvance(&buf, glyph, fixed.Int26_6(em), font.HintingNone); err == nil {
			m[r] = int16((int(advance)*1000 + em/2) / em)
		}
	}
	return m
}

// advance returns the width of a character in thousandths of the size, and whether
// the font has it.
func (f face) advance(r rune) (int, bool) {
	if r < 0 || r >= 1<<16 {
		return 0, false
	}
	w := faceMetrics[f]()[r]
	return max(int(w), 0), w >= 0
}

// faceFor returns the font that has a character, and its width there. The wide font
// has one weight only.
func faceFor(r rune, bold bool) (face, int, bool) {
	first := regular
	if bold {
		first = strong
	}
	if w, ok := first.advance(r); ok {
		return first, w, true
	}
	if r < 0x0300 {
		return first, 0, false
	}
	if w, ok := regular.advance(r); ok {
		return regular, w, true
	}
	w, ok := wide.advance(r)
	return wide, w, ok
}
