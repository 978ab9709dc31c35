package report

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// An ISOWeek is a week from Monday to Sunday. Week 1 of a year is that with 4 January
// in it, so that a week may begin in the year before or end in the year after. The
// zero ISOWeek is none. Source: ISO 8601-1:2019, 3.1.1.23 and 5.2.4.
type ISOWeek struct {
	Year   int // the year that the week counts to
	Number int // 1 to 52 or 53
}

// errNoWeek says that a text names no week.
var errNoWeek = errors.New("no week of ISO 8601")

// ParseISOWeek reads a week such as 2026-W12. A week that the year does not have is an
// error.
func ParseISOWeek(text string) (ISOWeek, error) {
	year, number, found := strings.Cut(text, "-W")
	y, err1 := strconv.ParseUint(year, 10, 16)
	n, err2 := strconv.ParseUint(number, 10, 8)
	if !found || len(year) != 4 || len(number) != 2 || err1 != nil || err2 != nil || n == 0 {
		return ISOWeek{}, fmt.Errorf("%q: %w", text, errNoWeek)
	}
	w := ISOWeek{int(y), int(n)}
	if ISOWeekOf(w.monday(time.UTC)) != w {
		return ISOWeek{}, fmt.Errorf("%q: %w", text, errNoWeek)
	}
	return w, nil
}

// ISOWeekOf returns the week of t, in the zone of t.
func ISOWeekOf(t time.Time) ISOWeek {
	year, number := t.ISOWeek()
	return ISOWeek{year, number}
}

// String returns the week as in 2026-W12.
func (w ISOWeek) String() string { return fmt.Sprintf("%04d-W%02d", w.Year, w.Number) }

// Add returns the week n weeks later, or earlier where n is below 0.
func (w ISOWeek) Add(n int) ISOWeek {
	return ISOWeekOf(w.monday(time.UTC).AddDate(0, 0, 7*n))
}

// Begin returns the first moment of the week's Monday. The week ends where the next
// one begins; it has 168 hours but where the clocks of the zone change.
func (w ISOWeek) Begin(zone *time.Location) time.Time {
	t := w.monday(zone)
	if t.Weekday() == time.Sunday { // the clocks skip midnight: Monday begins with the change
		_, t = t.ZoneBounds()
	}
	return t
}

// monday returns midnight of the week's Monday, or the hour before it where the zone
// has no such time.
func (w ISOWeek) monday(zone *time.Location) time.Time {
	fourth := time.Date(w.Year, time.January, 4, 12, 0, 0, 0, time.UTC)
	back := (int(fourth.Weekday()) + 6) % 7
	return time.Date(w.Year, time.January, 4-back+7*(w.Number-1), 0, 0, 0, 0, zone)
}
