package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"nilvolt/formats"
)

// checkOptions are the flags of formats check.
type checkOptions struct {
	mapName string
	zone    string
	kind    string
	rows    int
	format  string
}

func newCheck(c *console) *cobra.Command {
	o := &checkOptions{}
	cmd := &cobra.Command{
		Use:   "check FILE",
		Short: "Show the first rows of a file as they are understood",
		Long: `Read a file of readings, a job sheet or a register of instruments through a column
map and show its first rows in canonical form. Look whether they say what the
instrument showed, or what you wrote. All rows are read, and those that cannot be
are told with what to do about them.

What the rows are, the map says (for:), or for a canonical file its header; --kind
says it where the map is for files of several kinds.

Exit status: 0 when every row can be read, 2 when not.`,
		Example: "  nilvolt formats check logger.txt --map logger.yaml --rows 20",
		Args:    exactArgs(1, "name the file to look at, or - for standard input"),
		RunE: func(_ *cobra.Command, args []string) error {
			if err := checkFormat(o.format); err != nil {
				return err
			}
			if o.kind != "" && !slices.Contains(formats.Kinds(), o.kind) {
				return hint("the kinds are "+strings.Join(formats.Kinds(), ", "), "no kind of file is called %q", o.kind)
			}
			return runCheck(o, args[0], c)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.mapName, "map", "", "column map `file` (YAML); without one the file must be canonical")
	f.StringVar(&o.kind, "kind", "", "what the rows are: "+strings.Join(formats.Kinds(), ", "))
	f.StringVar(&o.zone, "zone", "", "`zone` of times without an offset, such as Europe/Berlin, where the map names none")
	f.IntVar(&o.rows, "rows", 10, "how many rows to show")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text, json or csv")
	completeFlags(cmd)
	return cmd
}

// runCheck shows how a file is understood; rows that cannot be read are the error.
func runCheck(o *checkOptions, name string, c *console) error {
	m, err := loadMap(o.mapName, o.zone)
	if err != nil {
		return err
	}
	var data []byte
	if name == "-" {
		data, err = io.ReadAll(c.in)
	} else {
		data, err = readFile(name)
	}
	if err != nil {
		return err
	}
	p, err := formats.Check(data, name, m, o.kind, max(o.rows, 0))
	if err != nil {
		return err
	}
	var out []byte
	switch o.format {
	case "json":
		out = previewJSON(p)
	case "csv":
		out = previewCSV(p)
	default:
		out = []byte(c.theme().preview(p))
	}
	if _, err := c.out.Write(out); err != nil {
		return err
	}
	return p.Bad.Err()
}

// useWord says what became of a row.
func useWord(r *formats.PreviewRow) string {
	switch {
	case len(r.Problems) > 0:
		return "bad"
	case r.Skipped:
		return "skipped"
	}
	return "read"
}

// previewJSON writes an object a row, with the columns that the file has.
func previewJSON(p *formats.Preview) []byte {
	var out []byte
	for i := range p.Rows {
		r := &p.Rows[i]
		out = append(out, `{"line":`...)
		out = strconv.AppendInt(out, int64(r.Line), 10)
		out = append(out, `,"use":"`+useWord(r)+`"`...)
		for _, column := range p.Columns {
			out = append(out, `,"`+column.String()+`":`...)
			out = appendJSON(out, r.Texts[column])
		}
		out = append(out, "}\n"...)
	}
	return out
}

// previewCSV writes a line a row, with the columns that the file has.
func previewCSV(p *formats.Preview) []byte {
	out := []byte("line,use")
	for _, column := range p.Columns {
		out = append(out, ","+column.String()...)
	}
	out = append(out, "\r\n"...)
	for i := range p.Rows {
		r := &p.Rows[i]
		out = strconv.AppendInt(out, int64(r.Line), 10)
		out = append(out, ","+useWord(r)...)
		for _, column := range p.Columns {
			out = append(out, ',')
			out = appendCSVField(out, r.Texts[column])
		}
		out = append(out, "\r\n"...)
	}
	return out
}

// preview is a check for people: the answer, then a table of the rows, or a
// paragraph a row where a table is too wide.
func (t theme) preview(p *formats.Preview) string {
	var b strings.Builder
	b.WriteString(t.paint(titleInk, previewAnswer(p)) + "\n\n")
	table := [][]string{{"line"}}
	for _, column := range p.Columns {
		table[0] = append(table[0], column.String())
	}
	for i := range p.Rows {
		r := &p.Rows[i]
		line := []string{strconv.Itoa(r.Line)}
		switch useWord(r) {
		case "bad":
			line = append(line, "CANNOT BE READ")
		case "skipped":
			line = append(line, "passed over")
		default:
			for _, column := range p.Columns {
				line = append(line, t.clean(r.Texts[column]))
			}
		}
		table = append(table, line)
	}
	if !t.previewTable(&b, table) {
		t.previewList(&b, table)
	}
	return b.String()
}

// previewAnswer says how much of the file can be read.
func previewAnswer(p *formats.Preview) string {
	what := p.Kind
	if what == "readings" {
		what = "events" // steps stand among them
	}
	text := fmt.Sprintf("%s read as %s", plural(p.Read, "row"), what)
	if p.Skipped > 0 {
		text += fmt.Sprintf(", %s passed over", number(p.Skipped))
	}
	if p.Bad.Total > 0 {
		text += fmt.Sprintf(", %s to be mended", plural(p.Bad.Total, "mistake"))
	}
	return text + "."
}

// previewTable writes rows below each other in columns, unless they are too wide
// for that.
func (t theme) previewTable(b *strings.Builder, table [][]string) bool {
	widths := make([]int, len(table[0]))
	total := 0
	for k := range widths {
		for _, line := range table {
			if len(line) == len(widths) {
				widths[k] = max(widths[k], columnsOf(line[k]))
			}
		}
		total += widths[k] + 2
	}
	if total-2 > t.width {
		return false
	}
	for i, line := range table {
		var text strings.Builder
		for k, cell := range line {
			text.WriteString(pad(cell, widths[k]+2))
		}
		ink := plainInk
		if i == 0 {
			ink = quietInk
		}
		b.WriteString(t.paint(ink, strings.TrimRight(text.String(), " ")) + "\n")
	}
	return true
}

// previewList writes a paragraph a row: the names of the columns with the texts.
func (t theme) previewList(b *strings.Builder, table [][]string) {
	head := table[0]
	for _, line := range table[1:] {
		var parts []string
		for k, cell := range line[1:] {
			switch {
			case len(line) != len(head):
				parts = append(parts, cell)
			case cell != "":
				parts = append(parts, head[k+1]+" "+cell)
			}
		}
		t.hang(b, pad(line[0], 6), strings.Join(parts, ", "), plainInk)
	}
}
