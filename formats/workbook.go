package formats

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"
)

// Workbooks are those of ECMA-376 (Office Open XML, .xlsx): a zip archive of XML
// parts. They are read here part by part rather than through a spreadsheet
// library, because what a cell is decides what it means: a truth value is not the
// number 1, a date is not the number of its days, a number shown as "230 mV" is
// not 230, and a part that ends early must not read as a sheet that ends there.

// Limits of what is unpacked, so that a small file cannot fill memory or disk.
const (
	maxWorkbook = 512 << 20 // the file itself
	maxPart     = 256 << 20 // a part that is kept: texts, styles
	maxSheet    = 2 << 30   // a sheet, which streams through
	maxRows     = 1 << 20   // ECMA-376 names no limit; this is that of common programs
	maxColumns  = 1 << 14
)

var errTooLarge = errors.New("the workbook unpacks to more than can be read")

const mendWorkbook = "save it again as .xlsx without a password, or export the readings as CSV text"

// A book is an open workbook.
type book struct {
	form     Form
	parts    map[string]*zip.File
	from1904 bool
	strings  []string
	styles   []cellStyle
	sheets   []sheetRef
}

// A sheetRef is a worksheet by its name and its part.
type sheetRef struct{ name, part string }

// recodeWorkbook writes row n of a sheet as line n: its cells as CSV with the
// delimiter and the decimal mark of the map, absent rows as empty lines. Line
// breaks within a cell become blanks. Hidden rows and columns are data like any
// other.
//
// Numbers are written as they are kept, not as they are shown; a unit that the
// number format shows is written behind them. Dates become 2026-03-02,
// T10:15:00 or 2026-03-02T10:15:00 by their format. Formulas count by the value
// that was kept with them. Truth values are the words true and false.
//
// Cells that are merged across rows below the header are refused: the value is
// kept in the first row only, and what the others lack would be lost.
func recodeWorkbook(w io.Writer, r io.Reader, f Form) error {
	b, err := openBook(r, f)
	if err != nil {
		return f.workbookError(err)
	}
	sheet, err := b.chooseSheet()
	if err != nil {
		return f.workbookError(err)
	}
	out := bufio.NewWriterSize(w, 64<<10)
	if err := b.copySheet(out, sheet); err != nil {
		return f.workbookError(err)
	}
	return out.Flush()
}

// workbookError makes errors of the archive and of its XML say which file it is;
// a *RowError says so already.
func (f Form) workbookError(err error) error {
	if _, ok := errors.AsType[*RowError](err); ok {
		return err
	}
	return formError(f.name, 0, "not a workbook that can be read: "+err.Error(), mendWorkbook)
}

func openBook(r io.Reader, f Form) (*book, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxWorkbook+1))
	if err != nil {
		return nil, err
	}
	if len(data) > maxWorkbook {
		return nil, errTooLarge
	}
	archive, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, err
	}
	b := &book{form: f, parts: make(map[string]*zip.File)}
	for _, part := range archive.File {
		name := strings.ToLower(strings.TrimPrefix(part.Name, "/"))
		if b.parts[name] != nil {
			return nil, fmt.Errorf("it holds two parts called %s", clip(name))
		}
		b.parts[name] = part
	}
	root, err := b.readContents()
	if err != nil {
		return nil, err
	}
	for _, read := range []func(folder string) error{b.readStrings, b.readStyles} {
		if err := read(path.Dir(root)); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// open returns a part, whatever the case of its name; it is nil if there is none.
func (b *book) open(name string, limit int64) (io.ReadCloser, error) {
	part := b.parts[strings.ToLower(name)]
	if part == nil {
		return nil, nil
	}
	r, err := part.Open()
	if err != nil {
		return nil, err
	}
	return struct {
		io.Reader
		io.Closer
	}{&limitedReader{r, limit}, r}, nil
}

// A limitedReader fails behind its limit, where io.LimitReader would end.
type limitedReader struct {
	r    io.Reader
	left int64
}

func (l *limitedReader) Read(p []byte) (int, error) {
	n, err := l.r.Read(p)
	if l.left -= int64(n); l.left < 0 {
		return 0, errTooLarge
	}
	return n, err
}

// decode reads a whole part into v; it is no error if there is none.
func (b *book) decode(name string, v any) error {
	r, err := b.open(name, maxPart)
	if err != nil || r == nil {
		return err
	}
	defer r.Close()
	return xml.NewDecoder(r).Decode(v)
}

// relations is a part that says which part an id stands for.
type relations struct {
	List []struct {
		ID     string `xml:"Id,attr"`
		Type   string `xml:"Type,attr"`
		Target string `xml:"Target,attr"`
	} `xml:"Relationship"`
}

// readContents reads which sheets there are, and returns the name of the part
// that says so.
func (b *book) readContents() (root string, err error) {
	var top relations
	if err := b.decode("_rels/.rels", &top); err != nil {
		return "", err
	}
	for _, r := range top.List {
		if strings.HasSuffix(r.Type, "/officeDocument") {
			root = resolve("", r.Target)
		}
	}
	var contents struct {
		Properties struct {
			From1904 string `xml:"date1904,attr"`
		} `xml:"workbookPr"`
		Sheets []struct {
			Name string `xml:"name,attr"`
			ID   string `xml:"id,attr"`
		} `xml:"sheets>sheet"`
	}
	if err := b.decode(root, &contents); err != nil {
		return "", err
	}
	var links relations
	if err := b.decode(path.Join(path.Dir(root), "_rels", path.Base(root)+".rels"), &links); err != nil {
		return "", err
	}
	b.from1904 = contents.Properties.From1904 == "1" || contents.Properties.From1904 == "true"
	for _, s := range contents.Sheets {
		for _, l := range links.List {
			if l.ID == s.ID && strings.HasSuffix(l.Type, "/worksheet") {
				b.sheets = append(b.sheets, sheetRef{s.Name, resolve(path.Dir(root), l.Target)})
			}
		}
	}
	if len(b.sheets) == 0 {
		return "", errors.New("it holds no worksheet")
	}
	return root, nil
}

// resolve returns the part that a target in a folder stands for.
func resolve(folder, target string) string {
	if rest, absolute := strings.CutPrefix(target, "/"); absolute {
		return path.Clean(rest)
	}
	return path.Join(folder, target)
}

// A richText is a text in runs of different looks; what stands in t counts, the
// reading aids in rPh do not.
type richText struct {
	Text string   `xml:"t"`
	Runs []string `xml:"r>t"`
}

func (t richText) String() string { return t.Text + strings.Join(t.Runs, "") }

// readStrings reads the texts that cells share.
func (b *book) readStrings(folder string) error {
	var table struct {
		Items []richText `xml:"si"`
	}
	if err := b.decode(path.Join(folder, "sharedStrings.xml"), &table); err != nil {
		return fmt.Errorf("shared texts: %w", err)
	}
	for _, item := range table.Items {
		b.strings = append(b.strings, item.String())
	}
	return nil
}

// readStyles reads the number formats of cells.
func (b *book) readStyles(folder string) error {
	var table struct {
		Formats []struct {
			ID   int    `xml:"numFmtId,attr"`
			Code string `xml:"formatCode,attr"`
		} `xml:"numFmts>numFmt"`
		Cells []struct {
			Format int `xml:"numFmtId,attr"`
		} `xml:"cellXfs>xf"`
	}
	if err := b.decode(path.Join(folder, "styles.xml"), &table); err != nil {
		return fmt.Errorf("styles: %w", err)
	}
	codes := make(map[int]string)
	for _, f := range table.Formats {
		codes[f.ID] = f.Code
	}
	for _, c := range table.Cells {
		style := builtinStyle(c.Format)
		if code, custom := codes[c.Format]; custom {
			style = styleOf(code)
		}
		b.styles = append(b.styles, style)
	}
	return nil
}

// chooseSheet returns the sheet that the map names, or the only one that has
// cells.
func (b *book) chooseSheet() (sheetRef, error) {
	names := make([]string, len(b.sheets))
	for i, s := range b.sheets {
		names[i] = s.name
	}
	if want := b.form.sheet; want != "" {
		for _, s := range b.sheets {
			if strings.EqualFold(s.name, want) {
				return s, nil
			}
		}
		return sheetRef{}, formError(b.form.name, 0, fmt.Sprintf("the workbook has no sheet %q", want), "its sheets are "+quoteAll(names))
	}
	var filled []sheetRef
	for _, s := range b.sheets {
		has, err := b.hasCells(s)
		if err != nil {
			return sheetRef{}, err
		}
		if has {
			filled = append(filled, s)
		}
	}
	switch len(filled) {
	case 0:
		return sheetRef{}, formError(b.form.name, 0, "the workbook is empty", "export it again; a file without rows is no evidence")
	case 1:
		return filled[0], nil
	}
	names = slices.DeleteFunc(names, func(name string) bool {
		return !slices.ContainsFunc(filled, func(s sheetRef) bool { return s.name == name })
	})
	return sheetRef{}, formError(b.form.name, 0, fmt.Sprintf("the workbook has %d sheets with rows", len(filled)),
		"say in a map which one holds the rows, as in  sheet: "+names[0]+"; the sheets are "+quoteAll(names))
}

// hasCells reports whether a sheet has a cell.
func (b *book) hasCells(s sheetRef) (bool, error) {
	r, err := b.open(s.part, maxSheet)
	if err != nil || r == nil {
		return false, err
	}
	defer r.Close()
	d := xml.NewDecoder(r)
	for {
		token, err := d.RawToken()
		if errors.Is(err, io.EOF) {
			return false, nil
		}
		if err != nil {
			return false, err
		}
		if start, ok := token.(xml.StartElement); ok && start.Name.Local == "c" {
			return true, nil
		}
	}
}
