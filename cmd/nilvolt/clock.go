package main

import (
	"time"

	"github.com/spf13/pflag"
)

// Times for people are those of one zone, with its name behind each; evidence keeps
// the offset with which it was written. JSON and CSV have RFC 3339, in UTC.

// A zoneFlag says in which zone people are shown times.
type zoneFlag struct{ name string }

func (z *zoneFlag) register(flags *pflag.FlagSet) {
	flags.StringVar(&z.name, "zone", "", "the `zone` of times in text, and of weeks, such as Europe/Berlin; the machine's if not given")
}

// set makes it the zone of the console.
func (z *zoneFlag) set(c *console) error {
	if z.name == "" {
		return nil
	}
	zone, err := time.LoadLocation(z.name)
	if err != nil {
		return hint("write it as in Europe/Berlin or UTC", "no zone is called %q", z.name)
	}
	c.zone = zone
	return nil
}

// location returns the zone of the console.
func (c *console) location() *time.Location {
	if c.zone == nil {
		return time.UTC
	}
	return c.zone
}

// in returns a time in the zone of the theme.
func (t theme) in(at time.Time) time.Time {
	if t.zone == nil {
		return at.UTC()
	}
	return at.In(t.zone)
}

// moment writes Unix seconds as people read them.
func (t theme) moment(sec int64) string {
	return t.in(time.Unix(sec, 0)).Format("2006-01-02 15:04 MST")
}

// stamp writes a time of the ledger, RFC 3339, as people read it.
func (t theme) stamp(made string) string {
	at, err := time.Parse(time.RFC3339Nano, made)
	if err != nil {
		return made // an audit complains of it
	}
	return t.in(at).Format("2006-01-02 15:04:05 MST")
}

// day writes the date of a time of the ledger.
func (t theme) day(made string) string {
	at, err := time.Parse(time.RFC3339Nano, made)
	if err != nil {
		return made
	}
	return t.in(at).Format(time.DateOnly)
}
