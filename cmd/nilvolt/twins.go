package main

import (
	"fmt"
	"iter"
	"strings"
)

// listTwins says of ids of records that differ from an earlier one in case only that they
// are records of their own: rows of one isolation may lie in both.
func listTwins(c *console, ids iter.Seq[string]) {
	const most = 20
	t := theme{unicode: c.theme().unicode}
	first := map[string]string{}
	n := 0
	for id := range ids {
		folded := strings.ToLower(id)
		before, twice := first[folded]
		switch {
		case !twice:
			first[folded] = id
			continue
		case before == id:
			continue
		}
		if n++; n <= most {
			fmt.Fprintf(c.err, "note: %s and %s differ in case only and are two records, each judged by its own rows\n", t.clean(before), t.clean(id))
		}
	}
	if n > most {
		fmt.Fprintf(c.err, "note: and %s that %s in case only\n", plural(n-most, "more record"), verb(n-most, "differs", "differ"))
	}
}
