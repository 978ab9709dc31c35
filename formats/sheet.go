package formats

import (
	"bufio"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"nilvolt/record"
)

// A sheetCopier writes the rows of one sheet as lines.
type sheetCopier struct {
	book   *book
	out    *bufio.Writer
	row    int // that is being read; rows before it are written
	cells  []string
	line   []byte // the row as CSV
	filled int    // cells of the row that have a place
	header int    // row of the header, as far as it is known
	width  int    // cells of the header, of the first row where there is none, of the widest so far where nobody knows
}

// copySheet writes the rows of a sheet.
func (b *book) copySheet(out *bufio.Writer, s sheetRef) error {
	r, err := b.open(s.part, maxSheet)
	if err != nil {
		return err
	}
	if r == nil {
		return fmt.Errorf("the part %s is missing", s.part)
	}
	defer r.Close()
	c := &sheetCopier{book: b, out: out, header: b.form.header.line}
	x := &sheetReader{decoder: xml.NewDecoder(bufio.NewReaderSize(r, 64<<10))}
	for {
		token, err := x.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("the sheet is damaged behind row %d: %w", c.row, err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			err = c.element(x, token)
		case xml.EndElement:
			if token.Name.Local == "row" {
				err = c.endRow()
			}
		}
		if err != nil {
			return err
		}
	}
}

// element reads what the copier needs of a sheet: rows, cells and merges.
func (c *sheetCopier) element(x *sheetReader, start xml.StartElement) error {
	switch start.Name.Local {
	case "row":
		return c.startRow(start)
	case "c":
		cell, err := x.cell(start)
		if err != nil {
			return fmt.Errorf("the sheet is damaged in row %d: %w", c.row, err)
		}
		return c.cell(&cell)
	case "mergeCell":
		return c.merge(attribute(start, "ref"))
	}
	return nil
}

// A sheetReader gives the tokens of a sheet. It counts how deep they stand, which
// is all that it needs of XML's nesting to know that a sheet was cut short.
type sheetReader struct {
	decoder *xml.Decoder
	depth   int
	text    []byte // of the cell that is being read
}

// next returns the next token, io.EOF behind the last.
func (x *sheetReader) next() (xml.Token, error) {
	token, err := x.decoder.RawToken()
	switch token.(type) {
	case xml.StartElement:
		x.depth++
	case xml.EndElement:
		x.depth--
	}
	if errors.Is(err, io.EOF) && x.depth != 0 {
		err = io.ErrUnexpectedEOF
	}
	return token, err
}

// cell reads the rest of the cell that start begins.
func (x *sheetReader) cell(start xml.StartElement) (cell xmlCell, err error) {
	for _, a := range start.Attr {
		switch a.Name.Local {
		case "r":
			cell.ref = a.Value
		case "t":
			cell.kind = a.Value
		case "s":
			if cell.style, err = strconv.Atoi(a.Value); err != nil {
				return cell, err
			}
		}
	}
	x.text = x.text[:0]
	outside := x.depth - 1
	wanted := 0 // depth of the element whose text counts; 0 outside of any
	reading := 0
	for x.depth > outside {
		token, err := x.next()
		if err != nil {
			return cell, err
		}
		switch token := token.(type) {
		case xml.StartElement:
			switch name := token.Name.Local; {
			case name == "rPh":
				reading = x.depth // an aid to reading, no part of the text
			case (name == "v" || name == "t") && reading == 0:
				wanted = x.depth
			}
		case xml.EndElement:
			if x.depth < wanted {
				wanted = 0
			}
			if x.depth < reading {
				reading = 0
			}
		case xml.CharData:
			if x.depth == wanted {
				x.text = append(x.text, token...)
			}
		}
	}
	cell.text = string(x.text)
	return cell, nil
}

func attribute(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// fail is an error at the row that is being read.
func (c *sheetCopier) fail(message, mend string) error {
	return formError(c.book.form.name, c.row, message, mend)
}

// startRow begins a row, and writes empty lines for those that are absent.
func (c *sheetCopier) startRow(start xml.StartElement) error {
	row := c.row + 1
	if text := attribute(start, "r"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < row || n > maxRows {
			return fmt.Errorf("row %q stands behind row %d", text, c.row)
		}
		row = n
	}
	for ; c.row < row-1; c.row++ {
		if err := c.out.WriteByte('\n'); err != nil {
			return err
		}
	}
	c.row = row
	c.cells, c.filled = c.cells[:0], 0
	return nil
}

// endRow writes the row that has been read. Sheets leave blank cells at the end
// of a row out; they are put back, so that the row is as wide as the header.
func (c *sheetCopier) endRow() error {
	for len(c.cells) > 0 && len(c.cells) < c.width {
		c.cells = append(c.cells, "")
	}
	c.line = c.line[:0]
	for i, text := range c.cells {
		if i > 0 {
			c.line = append(c.line, c.book.form.comma)
		}
		c.line = append(c.line, c.quote(text)...)
	}
	if want := c.book.form.header.contains; want != "" && c.header == 0 && strings.Contains(string(c.line), want) {
		c.header = c.row
	}
	c.out.Write(c.line)
	switch unknown := c.book.form.header == (headerSpec{}); {
	case unknown:
		c.width = max(c.width, len(c.cells))
	case c.width == 0 && (c.row == c.header || c.book.form.header.none):
		c.width = len(c.cells)
	}
	return c.out.WriteByte('\n') // a bufio.Writer keeps the first error
}

// quote puts a text in quotes where CSV needs them.
func (c *sheetCopier) quote(text string) string {
	if strings.ContainsAny(text, "\r\n") {
		text = strings.NewReplacer("\r\n", " ", "\r", " ", "\n", " ").Replace(text)
	}
	if strings.IndexByte(text, '"') < 0 && strings.IndexByte(text, c.book.form.comma) < 0 {
		return text
	}
	return `"` + strings.ReplaceAll(text, `"`, `""`) + `"`
}

// An xmlCell is the c element of a sheet (ECMA-376-1, 18.3.1.4).
type xmlCell struct {
	ref   string // where it stands, as in B7; blank for the next place
	kind  string // its type
	style int
	text  string // its value, or the text that stands in it
}

// cell puts a cell into its place in the row.
func (c *sheetCopier) cell(x *xmlCell) error {
	column := c.filled
	if x.ref != "" {
		col, row, ok := parseRef(x.ref)
		if !ok || row != c.row || col < c.filled {
			return fmt.Errorf("cell %q stands in row %d behind column %d", x.ref, c.row, c.filled)
		}
		column = col
	}
	if column >= maxColumns {
		return fmt.Errorf("row %d has more than %d columns", c.row, maxColumns)
	}
	c.filled = column + 1
	text, err := c.book.cellText(x)
	if err != nil {
		return fmt.Errorf("row %d: %w", c.row, err)
	}
	for len(c.cells) <= column {
		c.cells = append(c.cells, "")
	}
	c.cells[column] = text
	return nil
}

// parseRef reads a reference such as B7; column counts from 0.
func parseRef(ref string) (column, row int, ok bool) {
	i := 0
	for ; i < len(ref) && 'A' <= ref[i] && ref[i] <= 'Z' && i < 4; i++ {
		column = column*26 + int(ref[i]-'A') + 1
	}
	row, err := strconv.Atoi(ref[i:])
	return column - 1, row, i > 0 && err == nil
}

// merge refuses cells that are merged across rows below the header.
func (c *sheetCopier) merge(ref string) error {
	first, last, ok := strings.Cut(ref, ":")
	_, top, ok1 := parseRef(first)
	_, bottom, ok2 := parseRef(last)
	if !ok || !ok1 || !ok2 || top == bottom || bottom <= c.header {
		return nil
	}
	c.row = top
	return c.fail("the cells "+ref+" are merged across rows",
		"divide them and write the value into each row: nobody can tell for which rows it holds")
}

// cellText writes the value of a cell, by its type (ECMA-376-1, 18.18.11).
func (b *book) cellText(x *xmlCell) (string, error) {
	switch x.kind {
	case "s":
		i, err := strconv.Atoi(strings.TrimSpace(x.text))
		if err != nil || i < 0 || i >= len(b.strings) {
			return "", fmt.Errorf("the cell %s names a text that is not there", x.ref)
		}
		return b.strings[i], nil
	case "inlineStr", "str", "d":
		return x.text, nil
	case "e":
		// Without its digit, which would make it a wrong number rather than none.
		return strings.Replace(x.text, "#DIV/0!", "#DIV!", 1), nil
	case "b":
		if x.text == "1" || x.text == "true" {
			return "true", nil
		}
		return "false", nil
	case "", "n":
		return b.numberText(x)
	}
	return "", fmt.Errorf("the cell %s is of the unknown type %q", x.ref, x.kind)
}

var errCellNumber = errors.New("not a number")

func (b *book) numberText(x *xmlCell) (string, error) {
	text := strings.TrimSpace(x.text)
	if text == "" {
		return "", nil
	}
	v, ok := record.ParseNumber(text)
	if !ok {
		return "", fmt.Errorf("the cell %s holds %q: %w", x.ref, clip(text), errCellNumber)
	}
	var style cellStyle
	if 0 <= x.style && x.style < len(b.styles) {
		style = b.styles[x.style]
	}
	return style.text(v, b.from1904, b.form.decimal), nil
}
