package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"nilvolt/ingest"
)

// listClocks tells how the clocks of instruments' own logs go against those with which
// they could be compared.
func listClocks(c *console, set *ingest.Set) {
	const most = 20
	t := theme{unicode: c.theme().unicode}
	list := set.Clocks()
	for i := range list[:min(len(list), most)] {
		fmt.Fprintln(c.err, t.clean(clockText(&list[i])))
	}
	if more := len(list) - most; more > 0 {
		fmt.Fprintln(c.err, "and "+plural(more, "more clock")+" compared")
	}
}

// clockText says what is known of one log's clock.
func clockText(k *ingest.Clock) string {
	name := fmt.Sprintf("%s: the clock of %s", k.File, k.Instrument)
	shared := plural(k.Proofs, "common proof")
	if !k.Sure {
		return fmt.Sprintf("%s cannot be compared with %s (%s, %s): its times are taken as they were logged", name, k.Against, k.Doubt, shared)
	}
	side := "ahead of"
	if k.Offset < 0 {
		side = "behind"
	}
	return fmt.Sprintf("%s is %s %s %s, within %s (%s, scatter %s, gains %s ppm): its times are corrected",
		name, apart(k.Offset.Abs()), side, k.Against, apart(k.Within), shared, apart(k.Scatter), oneDigit(k.Drift))
}

// apart writes a time in hours, minutes and seconds.
func apart(d time.Duration) string {
	d = d.Round(time.Second / 10)
	var parts []string
	if h := d / time.Hour; h > 0 {
		parts = append(parts, fmt.Sprintf("%d h", h))
	}
	if m := d % time.Hour / time.Minute; m > 0 || d >= time.Hour {
		parts = append(parts, fmt.Sprintf("%d min", m))
	}
	return strings.Join(append(parts, fmt.Sprintf("%.1f s", (d%time.Minute).Seconds())), " ")
}

// oneDigit writes a number with one digit behind the point, and never "-0.0".
func oneDigit(v float64) string {
	return fmt.Sprintf("%.1f", math.Round(10*v)/10+0)
}
