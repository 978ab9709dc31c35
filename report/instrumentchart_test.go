package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	vgdraw "gonum.org/v1/plot/vg/draw"

	"nilvolt/fleet"
	"nilvolt/record"
)

// begin is the Monday from which the weeks of these tests count.
var begin = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// fleetProofs are thirteen weeks of six indicators on three units, I2 of which drifts by
// 0.3 % a week and I4 of which shows steps.
func fleetProofs() []fleet.Proof {
	rng := rand.New(rand.NewPCG(7, 7))
	var proofs []fleet.Proof
	for n := range 13 * 60 {
		week := float64(n) / 60
		i, u := rng.IntN(6), rng.IntN(3)
		percent := 0.4 * rng.NormFloat64()
		if i == 2 {
			percent += 0.3 * week
		}
		p := fleet.Proof{
			Indicator: "VI-" + string(rune('0'+i)), Source: "PU-" + string(rune('0'+u)), Form: fleet.Numeric, Passed: true,
			Time:     record.InstantOf(begin.Add(time.Duration(week * 7 * 24 * float64(time.Hour)))),
			Expected: 250, Volts: 250 * (1 + percent/100),
		}
		if i == 4 {
			p.Form, p.Lit, p.Next, p.Volts = fleet.Stepped, 230, 400, 0
		}
		proofs = append(proofs, p)
	}
	return proofs
}

func assessed(proofs []fleet.Proof, register record.Register) *fleet.Fleet {
	return fleet.Assess(fleet.Evidence{
		Proofs: func(yield func(fleet.Proof) bool) {
			for _, p := range proofs {
				if !yield(p) {
					return
				}
			}
		},
		Register: register, AsOf: record.InstantOf(begin.AddDate(0, 0, 13*7-1)),
	}, fleet.Settings{})
}

// checkPicture looks at what must hold for every picture: it is well-formed, nothing in it
// is no number, all of it lies within the page, it is not empty, it says in words what it
// shows, and the same picture is the same bytes.
func checkPicture(t *testing.T, p Picture) string {
	t.Helper()
	svg := p.SVG()
	if again := p.SVG(); !bytes.Equal(svg, again) {
		t.Error("the same picture gives other bytes")
	}
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("the SVG is not well-formed: %v", err)
		}
	}
	text := string(svg)
	if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
		t.Errorf("a number that is none: %s", text)
	}
	if !strings.Contains(text, "<title") || !strings.Contains(text, "<desc") {
		t.Error("it does not say in words what it shows")
	}
	for _, m := range p.drawing.marks {
		checkMark(t, p.drawing, m)
	}
	checkWords(t, p.drawing)
	return text
}

// checkWords looks that no word stands over another.
func checkWords(t *testing.T, d *drawing) {
	t.Helper()
	var seen []label
	ends := func(l *label) (from, to float64) {
		width := widthOf(l.words, l.size)
		from = l.x + offset(l.align, 0, width)
		return from, from + width
	}
	for _, m := range d.marks {
		l, is := m.(label)
		if !is || l.turned {
			continue
		}
		from, to := ends(&l)
		for i := range seen {
			otherFrom, otherTo := ends(&seen[i])
			if math.Abs(seen[i].y-l.y) < 0.7*l.size && from < otherTo && otherFrom < to {
				t.Errorf("%q stands over %q", l.words.String(), seen[i].words.String())
			}
		}
		seen = append(seen, l)
	}
}

// checkDots looks at the picture as PNG.
func checkDots(t *testing.T, p Picture) {
	t.Helper()
	data, err := p.PNG()
	if err != nil {
		t.Fatal(err)
	}
	if again, err := p.PNG(); err != nil || !bytes.Equal(data, again) {
		t.Errorf("the same picture gives other dots: %v", err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil || img.Bounds().Dx() < 300 {
		t.Fatalf("a PNG of %v: %v", img, err)
	}
}

func checkMark(t *testing.T, d *drawing, mark any) {
	t.Helper()
	const room = 0.6 // millimetres: half a line
	inside := func(what string, x, y float64) {
		if x < -room || y < -room || x > d.width+room || y > d.height+room || math.IsNaN(x+y) {
			t.Errorf("%s at %.1f, %.1f is outside of %.1f x %.1f", what, x, y, d.width, d.height)
		}
	}
	switch m := mark.(type) {
	case path:
		for _, at := range m.points {
			inside("a line", at[0], at[1])
		}
	case circle:
		inside("a disc", m.x-m.r, m.y-m.r)
		inside("a disc", m.x+m.r, m.y+m.r)
	case label:
		width := widthOf(m.words, m.size)
		from := offset(m.align, 0, width)
		if m.turned {
			inside(m.words.String(), m.x, m.y-from)
			inside(m.words.String(), m.x, m.y-from-width)
		} else {
			inside(m.words.String(), m.x+from, m.y-m.size*0.7)
			inside(m.words.String(), m.x+from+width, m.y)
		}
	}
}

func TestChartOfADrift(t *testing.T) {
	f := assessed(fleetProofs(), nil)
	a := f.Of("VI-2")
	serviced, err := record.ParseDate("2026-03-01")
	if err != nil {
		t.Fatal(err)
	}
	c := ChartOf(f, a, []record.Date{serviced})
	text := checkPicture(t, c.Picture())
	checkDots(t, c.Picture())
	for _, want := range []string{"VI-2: drifts by +0.3", "tolerance +10 %", "tolerance \u221210 %", "drift", "as of 2026-05-31", "proofs with", "PU-0", "Apr 2026", "+5 %"} {
		if !strings.Contains(text, want) {
			t.Errorf("the picture lacks %q", want)
		}
	}
	if len(c.Readings) < 100 || len(c.Level) < 20 || len(c.Forecast) < leastAhead || c.Limits <= 0 {
		t.Errorf("%d readings, %d points of the level, %d of the forecast, limits %g", len(c.Readings), len(c.Level), len(c.Forecast), c.Limits)
	}
	rise := c.Level[len(c.Level)-1].Percent - c.Level[0].Percent
	if math.Abs(rise-0.3*13) > 0.4 {
		t.Errorf("the level rises by %.2f %%, and the drift makes 3.9", rise)
	}
}

// Flags that come close to each other, and many of them: no word stands over another, and no
// line goes through one.
func TestFlagsDoNotTouch(t *testing.T) {
	for _, weeks := range [][]float64{{0, 8}, {0, 8, 8, 30}, {10, 11, 12, 29}, {0, 0, 1, 2, 4, 29, 30}, {1, 27, 28, 29}} {
		c := &InstrumentChart{Title: "VI-1: flags", Text: "flags", Origin: begin, AsOf: 30, Tolerance: 10, Failed: []float64{0.1, 3, 7}}
		for week := range 31 {
			c.Readings = append(c.Readings, ChartReading{Week: float64(week), Percent: 1, Partner: "PU-1"})
		}
		for i, week := range weeks {
			c.Flags = append(c.Flags, ChartFlag{Week: week, From: week, To: week, Word: "drift, from here or before", Fault: i%2 == 0})
		}
		checkPicture(t, c.Picture())
		canvas := vgdraw.New(newPlotCanvas(chartWidth, chartHeight))
		words := c.layFlags(canvas, c.plot()).words
		for i := range words {
			for k := range words {
				if i != k && words[i].lane <= words[k].lane && words[k].line > words[i].from && words[k].line < words[i].to {
					t.Errorf("flags %v: the line of %d goes through the word of %d", weeks, k, i)
				}
			}
		}
	}
}

// A failing instrument's failed proofs have a place of their own on its chart, whether they
// show a number or not.
func TestChartShowsFailedProofs(t *testing.T) {
	proofs := fleetProofs()
	failed := 0
	for i := range proofs {
		if p := &proofs[i]; p.Indicator == "VI-1" && i%5 == 0 && record.InstantOf(begin.AddDate(0, 0, 28)).Before(p.Time) {
			p.Form, p.Passed = fleet.NoValue, false
			failed++
		}
	}
	f := assessed(proofs, nil)
	c := ChartOf(f, f.Of("VI-1"), nil)
	text := checkPicture(t, c.Picture())
	if len(c.Failed) != failed || failed < 10 {
		t.Errorf("%d failed proofs, want %d", len(c.Failed), failed)
	}
	for _, want := range []string{">failed<", "fails too often", counted(failed, "proof") + " failed, from 2026-"} {
		if !strings.Contains(text, want) {
			t.Errorf("the picture lacks %q", want)
		}
	}
}

// Charts of what is hardly known, and of names that no font expects.
func TestChartsOfOddInstruments(t *testing.T) {
	at := func(week float64) record.Instant {
		return record.InstantOf(begin.Add(time.Duration(week * 7 * 24 * float64(time.Hour))))
	}
	one := func(id, unit string, volts float64) fleet.Proof {
		return fleet.Proof{Indicator: id, Source: unit, Time: at(12.5), Expected: 250, Volts: volts, Form: fleet.Numeric, Passed: true}
	}
	long := strings.Repeat("a very long name ", 6)
	proofs := append(fleetProofs(), one("one proof", "PU-0", 251), one("\u6e2c\u5b9a\u5668 7", "PU-0", 249), one("\u05de\u05db\u05e9\u05d9\u05e8", long, 1e9),
		one(long, "PU-1", 0))
	register := record.Register{"never used": {ID: "never used", Kind: record.Indicator, IntervalDays: 365, Serviced: record.DateOf(begin)}}
	for _, r := range []record.Register{nil, register} {
		f := assessed(proofs, r)
		for i := range f.Instruments {
			a := &f.Instruments[i]
			t.Run(a.Instrument, func(t *testing.T) { checkPicture(t, ChartOf(f, a, nil).Picture()) })
		}
		checkPicture(t, FleetPictureOf(f).Picture())
	}
	empty := assessed(nil, register)
	checkPicture(t, ChartOf(empty, &empty.Instruments[0], nil).Picture())
	checkPicture(t, FleetPictureOf(empty).Picture())
}

func TestFleetPicture(t *testing.T) {
	f := assessed(fleetProofs(), nil)
	p := FleetPictureOf(f)
	text := checkPicture(t, p.Picture())
	checkDots(t, p.Picture())
	if strings.Count(text, "<circle") != len(p.Pairs) || len(p.Pairs) != 15 {
		t.Errorf("%d discs for %d pairs", strings.Count(text, "<circle"), len(p.Pairs))
	}
	for _, want := range []string{"Who was proved on whom", "drifting", "VI-2", "PU-2", "All can be compared"} {
		if !strings.Contains(text, want) {
			t.Errorf("the picture lacks %q", want)
		}
	}
	// A fleet of which not all can be shown: those with most proofs are.
	big := &FleetPicture{Title: "many"}
	for i := range 3 * mostRows {
		id := "I" + strings.Repeat("x", i)
		big.Indicators = append(big.Indicators, FleetMember{ID: id, Part: i % 2})
		big.Pairs = append(big.Pairs, FleetPair{Indicator: id, Unit: "U", Proofs: 1 + i})
	}
	big.Units = []FleetMember{{ID: "U"}}
	if g := big.layOut(); len(g.rows) != mostRows || g.rows[0].ID < "I"+strings.Repeat("x", mostRows) {
		t.Errorf("%d rows, the first %q", len(g.rows), g.rows[0].ID)
	}
}
