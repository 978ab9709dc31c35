package formats

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"nilvolt/record"
)

// datePatterns and clockPatterns are the forms that a guess tries.
var (
	datePatterns = []string{
		"yyyy-M-d", "yyyy/M/d", "yyyy.M.d", "d.M.yyyy", "d/M/yyyy", "M/d/yyyy", "d-M-yyyy", "M-d-yyyy", "yyyyMMdd",
		"d MMM yyyy", "d-MMM-yyyy", "d. MMM yyyy", "MMM d, yyyy", "d.M.yy", "d/M/yy", "M/d/yy", "yy/M/d", "d-M-yy", "M-d-yy", "yy-M-d", "d-MMM-yy",
	}
	clockPatterns = []string{"H:mm:ss", "H:mm:ss.S", "H:mm:ss,S", "H:mm", "h:mm:ss a", "h:mm a", "HHmmss", "H.mm.ss", "H:mm:ss:S"}
)

// guessLayouts returns the layouts that a guess tries, one for each pair of patterns.
// They are many, and most calls of the program guess nothing.
var guessLayouts = sync.OnceValue(func() []*timeLayout {
	var texts []string
	for _, date := range datePatterns {
		for _, clock := range clockPatterns {
			for _, between := range []string{" ", "'T'", ", "} {
				for _, offset := range []string{"", "XXX", " XXX"} {
					texts = append(texts, date+between+clock+offset)
				}
			}
		}
	}
	return mustLayouts(texts...)
})

var guessDates = sync.OnceValue(func() []*timeLayout { return mustLayouts(datePatterns...) })

// scanTimes returns the layouts that all of cells follow.
func scanTimes(cells []string) []*timeLayout { return followed(guessLayouts(), cells) }

func followed(layouts []*timeLayout, cells []string) []*timeLayout {
	if len(cells) == 0 {
		return nil
	}
	left := slices.Clone(layouts)
	for _, cell := range cells {
		left = slices.DeleteFunc(left, func(l *timeLayout) bool {
			c, ok := l.scan(cell)
			return !ok || !c.exists()
		})
		if len(left) == 0 {
			return nil
		}
	}
	return left
}

// meanings returns the layouts of left that read cells each in another way.
func meanings(left []*timeLayout, cells []string) []*timeLayout {
	var distinct []*timeLayout
	for _, l := range left {
		same := slices.ContainsFunc(distinct, func(d *timeLayout) bool {
			for _, cell := range cells {
				a, _ := l.scan(cell)
				b, _ := d.scan(cell)
				a.am, a.pm, b.am, b.pm = false, false, false, false
				if a != b {
					return false
				}
			}
			return true
		})
		if !same {
			distinct = append(distinct, l)
		}
	}
	return distinct
}

// guessTime says how the times of a column are written, in lines of the given
// indent below the column's own.
func (g *guesser) guessTime(column Column, at, clockAt int) {
	cells := g.cells(at)
	source := "column: " + g.ref(at)
	from := g.describe(at)
	if clockAt >= 0 {
		cells = cells[:0]
		for _, row := range g.rows {
			if date, clock := row.fields[at], row.fields[clockAt]; date != "" || clock != "" {
				joined, err := joinClock(date, clock)
				if err != nil {
					joined = date + " " + clock
				}
				cells = append(cells, joined)
			}
		}
		source = "date: " + g.ref(at) + ", clock: " + g.ref(clockAt)
		from += " and " + g.describe(clockAt)
	}
	layout, comment, doubt := guessLayout(cells)
	line := fmt.Sprintf("  %s: {%s}", column, source)
	if layout == "rfc3339" && clockAt < 0 {
		line = fmt.Sprintf("  %s: %s", column, g.ref(at))
	} else if layout != "" && layout != "rfc3339" {
		line = fmt.Sprintf("  %s: {%s, layout: %s}", column, source, yamlQuote(layout))
	}
	if doubt {
		g.doubt("# "+line, from+": "+comment)
		return
	}
	g.say(line, from+": "+comment)
	if needsZone(layout, cells) {
		g.guessZone(at)
	}
}

// guessLayout returns the layout of times, blank for RFC 3339.
func guessLayout(cells []string) (layout, comment string, doubt bool) {
	if len(cells) == 0 {
		return "", "no row has a time: say how they are written", true
	}
	if !slices.ContainsFunc(cells, func(c string) bool { _, err := record.ParseInstant(c); return err != nil }) {
		return "rfc3339", "RFC 3339 in every row", false
	}
	if layout, ok := guessNumberTime(cells); ok {
		return layout, "numbers of the size of such times", false
	}
	distinct := meanings(scanTimes(cells), cells)
	switch len(distinct) {
	case 0:
		return "", "times of no form that is known, as in " + strconv.Quote(clip(cells[0])) + ": write their layout", true
	case 1:
		return distinct[0].text, "every row follows it", false
	}
	var texts []string
	for _, l := range distinct {
		texts = append(texts, strconv.Quote(l.text))
	}
	return distinct[0].text, "no row tells which comes first, day, month or year; choose one of " + strings.Join(texts, ", "), true
}

// guessNumberTime knows seconds and milliseconds since 1970 by their size: they
// are taken where all lie between 2001-09-09 and 2096-10-02.
func guessNumberTime(cells []string) (layout string, ok bool) {
	digits := 0
	for _, c := range cells {
		whole, _, _ := strings.Cut(c, ".")
		if strings.Trim(whole, "0123456789") != "" || digits != 0 && len(whole) != digits || whole == "" || whole[0] > '3' {
			return "", false
		}
		if _, ok := record.ParseNumber(c); !ok {
			return "", false
		}
		digits = len(whole)
	}
	switch digits {
	case 10:
		return "unix", true
	case 13:
		return "unix-ms", true
	}
	return "", false
}

func needsZone(layout string, cells []string) bool {
	if layout == "rfc3339" {
		return false
	}
	l, err := parseLayout(layout)
	return err == nil && l.needsZone() && slices.ContainsFunc(cells, func(c string) bool { _, err := record.ParseInstant(c); return err != nil })
}

var zoneName = regexp.MustCompile(`\b(Africa|America|Antarctica|Asia|Atlantic|Australia|Europe|Indian|Pacific)/[A-Za-z_/\-]+[A-Za-z]|\bUTC\b`)

// zoneLabel is how a line that tells a zone is called; offsetBehind is what makes
// another zone of UTC.
var (
	zoneLabel    = regexp.MustCompile(`(?i)zone|\btz\b|fuseau`)
	offsetBehind = regexp.MustCompile(`^\s*[+\-\x{2212}±]\s*\d`)
)

// findZone returns the zone that text names, blank for none.
func findZone(text string) string {
	at := zoneName.FindStringIndex(text)
	if at == nil || offsetBehind.MatchString(text[at[1]:]) {
		return ""
	}
	name := text[at[0]:at[1]]
	if _, err := loadZone(name); err != nil {
		return ""
	}
	return name
}

// guessZone looks for the zone of local times in the name of their column and in
// the lines above the header that say that they tell it.
func (g *guesser) guessZone(at int) {
	var places []string
	if g.header != nil {
		places = append(places, g.header[at])
	}
	for _, line := range g.preamble {
		if zoneLabel.MatchString(line) {
			places = append(places, line)
		}
	}
	for _, place := range places {
		if name := findZone(place); name != "" {
			g.zone = guessLine{"zone: " + name, "named in " + strconv.Quote(clip(place))}
			return
		}
	}
	if g.zone.text == "" {
		g.zone = guessLine{"# zone: Europe/Berlin", "UNSURE: the times have no offset and nothing names their zone: write the one in which the clock of the instrument ran"}
		g.sure = false
	}
}
