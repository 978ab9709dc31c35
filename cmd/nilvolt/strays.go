package main

import (
	"fmt"
	"strings"

	"nilvolt/ingest"
)

// listStrays names the first rows that belong to no single record, and how many
// there are.
func listStrays(c *console, strays []ingest.Stray) {
	const most = 20
	t := theme{unicode: c.theme().unicode}
	var b strings.Builder
	for i := range strays[:min(len(strays), most)] {
		b.WriteString(t.clean(strayText(&strays[i])) + "\n")
	}
	if more := len(strays) - most; more > 0 {
		b.WriteString("and " + plural(more, "more row") + " of no single record\n")
	}
	if len(strays) > 0 {
		b.WriteString("    mend: give the rows a record id (a column map can take it from the name of the file),\n" +
			"          or have one row of the job sheet name the indicator, from start to end\n")
	}
	fmt.Fprint(c.err, b.String())
}

// strayText says which row it is and what it fits.
func strayText(s *ingest.Stray) string {
	pos := s.Pos
	pos.Column = 0
	text := pos.String() + ": " + s.Kind.String()
	switch {
	case s.Source != "":
		text += " of " + s.Source
	case s.Indicator != "":
		text += " by " + s.Indicator
	}
	text += " at " + s.Time.String() + " has no record id and fits "
	switch n := len(s.Records); {
	case n == 0:
		return text + "no record"
	case s.Own:
		return text + s.Records[0] + " by rows of its own file only, where an id that was lost may be any record's"
	case n == 1:
		return text + s.Records[0] + " by one of its times only"
	case n > 5:
		return text + strings.Join(s.Records[:5], ", ") + " and " + number(n-5) + " more"
	}
	return text + strings.Join(s.Records, ", ")
}

// listSuperseded says how many rows of Parquet files were left out.
func listSuperseded(c *console, set *ingest.Set) {
	if n := set.Superseded(); n > 0 {
		fmt.Fprintf(c.err, "note: %s of earlier versions of records were left out\n", plural(int(n), "row"))
	}
}
