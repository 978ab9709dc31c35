package formats

import (
	"fmt"
	"strings"

	"nilvolt/record"
)

// Bind makes the layout of the file called name from head, UTF-8 text from the
// start of the file up to 1 MiB, with or without a byte order mark. Without a
// map (m nil) the file must be canonical: comma, the first line a header of
// canonical names, in any order. Case, outer blanks and the choice between
// blank, hyphen and underscore do not matter in a name. Other columns are
// ignored, unless their name or their cells in head tell a unit, a range, a
// function or a coupling, or the name is a canonical one with a slip in it.
//
// The error is a *BadRows that lists everything that is wrong with the header.
func Bind(head, name string, m *Map) (*Layout, error) {
	return bind(head, name, m.section(readingsFile, name), readingColumns)
}

// bind is Bind for a file of the given columns that is read by section s, nil
// for a canonical one.
func bind(head, name string, s *section, set *columnSet) (*Layout, error) {
	if s != nil {
		return bindSection(head, name, s, set)
	}
	return bindCanonical(head, name, set)
}

// A columnSet is the columns that one kind of canonical file can have.
type columnSet struct {
	kind     fileKind
	what     string // what the file is, for messages
	has      func(Column) bool
	required []Column
	guess    bool // whether nilvolt formats guess can help
}

var readingColumns = &columnSet{
	kind:     readingsFile,
	what:     "readings",
	has:      func(c Column) bool { return c > NoColumn && c <= EndColumn },
	required: []Column{TimeColumn, EventColumn},
	guess:    true,
}

// column returns what a file's column is by its name; NoColumn if the set does
// not have it.
func (s *columnSet) column(name string) Column {
	name = foldName(name)
	for c := NoColumn + 1; c < NumColumns; c++ {
		if columnNames[c] == name && s.has(c) {
			return c
		}
	}
	return NoColumn
}

// names returns the names of the set, divided by commas.
func (s *columnSet) names() string {
	var names []string
	for c := range NumColumns {
		if s.has(c) {
			names = append(names, c.String())
		}
	}
	return strings.Join(names, ", ")
}

// foldName brings a column name into the form of the canonical names.
func foldName(name string) string {
	name = strings.ToLower(strings.TrimSpace(name))
	return strings.NewReplacer(" ", "_", "-", "_").Replace(name)
}

// mend says what to do about a header that is not canonical.
func (s *columnSet) mend(file string) string {
	if s.guess {
		return "give the file a header of canonical names, or read it through a map: nilvolt formats guess " + file
	}
	return s.what + " have the columns " + s.names() + "; another header needs a map"
}

func bindCanonical(head, name string, set *columnSet) (*Layout, error) {
	start := 0
	if strings.HasPrefix(head, byteOrderMark) {
		start = len(byteOrderMark)
	}
	fields, n, lines, problem := SplitRow(head[start:], ',', nil)
	bad := &BadRows{}
	at := record.Pos{File: name, Line: 1}
	if problem != nil {
		bad.Add(problem.At(at))
		return nil, bad
	}
	l := &Layout{Comma: ',', FirstRow: int64(start + n), FirstLine: 2 + lines}
	for _, p := range l.nameColumns(fields, set, name) {
		bad.Add(p.At(at))
	}
	if bad.Total == 0 {
		for _, p := range checkIgnored(head[l.FirstRow:], l, fields) {
			bad.Add(p.At(at))
		}
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	return l, nil
}

// nameColumns fills l.Columns from the header of a canonical file.
func (l *Layout) nameColumns(header []Field, set *columnSet, file string) []*Problem {
	if p := checkDelimiter(header, set, file); p != nil {
		return []*Problem{p}
	}
	var problems []*Problem
	seen := make(map[string]int)
	for i, f := range header {
		column := set.column(f.Text)
		l.Columns = append(l.Columns, column)
		if strings.TrimSpace(f.Text) == "" {
			continue
		}
		if first, twice := seen[foldName(f.Text)]; twice {
			problems = append(problems, &Problem{
				Column: f.Column, Field: "header", Text: f.Text,
				Message: fmt.Sprintf("column %d has the name of column %d", i+1, first),
				Mend:    "take one of them out, or read the file through a map that says which one counts",
			})
		} else {
			seen[foldName(f.Text)] = i + 1
		}
		if err := checkID(strings.Join(strings.Fields(f.Text), " ")); column == NoColumn && err != nil {
			problems = append(problems, &Problem{
				Column: f.Column, Field: "header", Text: f.Text, Message: err.Error(), Mend: mendUnseen,
			})
		}
		if why := tellsByName(f.Text); column == NoColumn && why != "" {
			problems = append(problems, ignoredProblem(f, why))
		}
	}
	problems = append(problems, l.slips(header, set, seen)...)
	return append(problems, missingColumns(seen, set, file)...)
}

// checkDelimiter says so when a header was plainly written with another delimiter.
func checkDelimiter(header []Field, set *columnSet, file string) *Problem {
	if len(header) != 1 || set.column(header[0].Text) != NoColumn {
		return nil
	}
	for _, d := range []struct{ mark, name string }{{";", "semicolons"}, {"\t", "tabs"}, {"|", "bars"}} {
		if strings.Contains(header[0].Text, d.mark) {
			return &Problem{
				Column: 1, Field: "header", Text: header[0].Text,
				Message: "the columns are divided by " + d.name + ", not by commas",
				Mend:    set.mend(file),
			}
		}
	}
	return nil
}

func missingColumns(seen map[string]int, set *columnSet, file string) []*Problem {
	var missing []string
	for _, want := range set.required {
		if seen[want.String()] == 0 {
			missing = append(missing, want.String())
		}
	}
	var problems []*Problem
	if len(missing) > 0 {
		problems = append(problems, &Problem{
			Field: "header", Text: strings.Join(missing, ", "),
			Message: "no such column, and " + set.what + " need it", Mend: set.mend(file),
		})
	}
	if _, from := seen["from"]; set.kind == readingsFile {
		if _, to := seen["to"]; from != to {
			problems = append(problems, &Problem{
				Field: "header", Message: "one of the columns from and to stands without the other",
				Mend: "give both, or the column pair",
			})
		}
	}
	return problems
}
