package report

import "rsc.io/qr"

// codeFigure draws text as a QR code; nil where it is too long for one.
// Source: ISO/IEC 18004: level M mends 15 % of damage; a quiet zone of four modules.
func codeFigure(text string) *figure {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return nil
	}
	const side, quiet = 29.0, 4
	module := side / float64(code.Size+2*quiet)
	d := &drawing{width: side, height: side, title: "QR code", text: text}
	d.box(0, 0, side, side, white, noInk, 0)
	for y := range code.Size {
		for x := 0; x < code.Size; x++ {
			from := x
			for x < code.Size && code.Black(x, y) {
				x++
			}
			if x > from { // a little higher than a module, so that no line shows between two rows
				d.box(module*float64(quiet+from), module*float64(quiet+y), module*float64(x-from), module*1.02, black, noInk, 0)
			}
		}
	}
	return &figure{drawing: d}
}
