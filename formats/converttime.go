package formats

import (
	"errors"
	"strings"

	"nilvolt/record"
)

var (
	errTimeLayout = errors.New("not a time of the layout that the map names")
	errTwoTimes   = errors.New("date and time of day do not go together")
)

// isoLocal are the forms of ISO 8601 that are read whatever the layout says:
// nobody writes the month last in them. Workbook dates are written so.
var isoLocal = mustLayouts("yyyy-MM-dd'T'HH:mm:ss", "yyyy-MM-dd'T'HH:mm:ss.S", "yyyy-MM-dd HH:mm:ss", "yyyy-MM-dd HH:mm:ss.S", "yyyy-MM-dd HH:mm", "yyyy-MM-dd'T'HH:mm")

var isoDate = mustLayouts("yyyy-MM-dd")

func mustLayouts(texts ...string) []*timeLayout {
	var list []*timeLayout
	for _, text := range texts {
		l, err := parseLayout(text)
		if err != nil {
			panic(err)
		}
		list = append(list, l)
	}
	return list
}

func scanAny(list []*timeLayout, text string) (civil, bool) {
	for _, l := range list {
		if c, ok := l.scan(text); ok {
			return c, true
		}
	}
	return civil{}, false
}

// time makes an RFC 3339 time of a cell, or of a date and a time of day.
func (c *converter) time(v *conversion, cell string) (string, error) {
	if v.clockAt >= 0 {
		clock := strings.TrimSpace(c.fields[v.clockAt].Text)
		if cell == "" && clock == "" {
			return "", nil
		}
		joined, err := joinClock(cell, clock)
		if err != nil {
			return "", err
		}
		cell = joined
	}
	if _, err := record.ParseInstant(cell); err == nil && v.layout.allowsISO() {
		return cell, nil
	}
	local, err := v.civil(cell)
	if err != nil {
		return "", err
	}
	if !local.hasOffset && v.zone == nil {
		return cell, nil // the decoder asks for the offset
	}
	return local.rfc3339(v.zone)
}

// joinClock puts a date and a time of day together. A worksheet may hold the
// whole time in both cells and show a part of it in each.
func joinClock(date, clock string) (string, error) {
	day, dayHasClock := scanAny(isoLocal[:2], date)
	if onlyDay, ok := scanAny(isoDate, date); ok {
		day = onlyDay
	} else if !dayHasClock {
		return date + " " + strings.TrimPrefix(clock, "T"), nil
	}
	whole, clockHasDay := scanAny(isoLocal[:2], clock)
	switch {
	case clockHasDay && (whole.dateText() != day.dateText() || dayHasClock && whole != day && day.wallSeconds()%86400 != 0):
		return "", errTwoTimes
	case clockHasDay:
		return clock, nil
	case dayHasClock && day.wallSeconds()%86400 != 0:
		return "", errTwoTimes
	case strings.HasPrefix(clock, "T"):
		return day.dateText() + clock, nil
	}
	return day.dateText() + " " + clock, nil
}

// civil reads a time as the layout says, or in a form of ISO 8601 that cannot be
// taken for another.
func (v *conversion) civil(cell string) (civil, error) {
	l := v.layout
	if l == nil {
		l = &timeLayout{kind: rfc3339Layout}
	}
	switch l.kind {
	case unixLayout, unixMilliLayout:
		plain, err := v.numbers.plain(cell)
		if err != nil {
			return civil{}, err
		}
		return unixTime(plain, l.kind == unixMilliLayout)
	case excelLayout:
		plain, err := v.numbers.plain(cell)
		if serial, ok := record.ParseNumber(plain); ok && err == nil {
			return serialTime(serial, false)
		}
	case patternLayout:
		if c, ok := l.scan(cell); ok {
			return c, nil
		}
	case rfc3339Layout: // a form of ISO 8601, below
	}
	if l.allowsISO() {
		if c, ok := scanAny(isoLocal, cell); ok {
			return c, nil
		}
	}
	if l.kind == rfc3339Layout {
		_, err := record.ParseInstant(cell)
		return civil{}, err
	}
	return civil{}, errTimeLayout
}

// date makes a date of a cell, as in 2026-03-02.
func (v *conversion) date(cell string) (string, error) {
	layouts := isoDate
	if v.layout != nil {
		layouts = append([]*timeLayout{v.layout}, isoDate...)
	}
	c, ok := scanAny(layouts, cell)
	if !ok {
		if c, ok = scanAny(isoLocal[:1], cell); !ok || c.wallSeconds()%86400 != 0 {
			return "", errors.New("not a date of the layout that the map names")
		}
	}
	if !c.exists() {
		return "", errNoDate
	}
	return c.dateText(), nil
}
