package formats

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"
)

// recoded returns the lines that a workbook becomes, or its error.
func recoded(data []byte, m *Map) string {
	text, err := textOf(data, "f.xlsx", m.section(readingsFile, "f.xlsx"))
	if err != nil {
		return errorText(err)
	}
	return text
}

// excelizeBook writes a workbook with the library as the outside check: what
// another program wrote must read as what it was given.
func excelizeBook(t interface{ Fatal(...any) }, fill func(f *excelize.File) error) []byte {
	f := excelize.NewFile()
	var b bytes.Buffer
	if err := errors.Join(fill(f), f.Write(&b), f.Close()); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func mustMap(t interface{ Fatal(...any) }, text string) *Map {
	m, err := ParseMap("map.yaml", []byte(text))
	if err != nil {
		t.Fatal(errorText(err))
	}
	return m
}

func TestWorkbookCells(t *testing.T) {
	day := time.Date(2026, 3, 2, 10, 15, 30, 250e6, time.UTC)
	book := excelizeBook(t, func(f *excelize.File) error {
		style := func(format string) int {
			id, err := f.NewStyle(&excelize.Style{CustomNumFmt: &format})
			if err != nil {
				t.Fatal(err)
			}
			return id
		}
		rows := [][]any{
			{"text", "say \"L\", N", " two\nlines "},
			{"numbers", 229.8, 0.3, -1e-12, 9.9e37, 12, "0012", "1,5"},
			{"truth", true, false},
			{"time", day, 46083.0, 46083.0, 0.5, 46083.4273466},
			{"shown in", 229.8, 229800.0, 0.1},
			{"formula"},
			nil,
			{"after an absent row"},
		}
		for i, row := range rows {
			if row == nil {
				continue
			}
			if err := f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
				return err
			}
		}
		for cell, format := range map[string]string{
			"C4": "dd/mm/yyyy", "D4": "0.00", "E4": "hh:mm", "F4": `[$-407]d. mmm yyyy\ hh:mm:ss`,
			"B5": `0.0" mV"`, "C5": `#,##0.0,"kV"`, "D5": "0%",
		} {
			if err := f.SetCellStyle("Sheet1", cell, cell, style(format)); err != nil {
				return err
			}
		}
		if err := f.SetRowVisible("Sheet1", 2, false); err != nil { // hidden rows are data
			return err
		}
		return f.SetCellFormula("Sheet1", "B6", "1/0")
	})
	want := `text,"say ""L"", N", two lines 
numbers,229.8,0.3,-1E-12,9.9E+37,12,0012,"1,5"
truth,true,false
time,2026-03-02T10:15:30.25,2026-03-02,46083,T12:00:00,2026-03-02T10:15:22.746
shown in,229.8 mV,229.800 kV,10%
formula,,

after an absent row,,
`
	if diff := cmp.Diff(want, recoded(book, nil)); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff("229,8 mV;229,800 kV;10%", strings.Split(recoded(book, mustMap(t, "delimiter: semicolon\ndecimal: comma\n")), "\n")[4][len("shown in;"):]); diff != "" {
		t.Error(diff)
	}
}

// A workbook that holds the fields of a CSV file as texts reads as that file.
func TestWorkbookEqualsCSV(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rapid.SliceOfN(rapid.StringMatching(`[ -~µä]{0,6}x`), 1, 5), 1, 6).Draw(t, "rows")
		book := excelizeBook(t, func(f *excelize.File) error {
			w, err := f.NewStreamWriter("Sheet1")
			if err != nil {
				return err
			}
			for i, row := range rows {
				cells := make([]any, len(row))
				for j := range row {
					cells[j] = row[j]
				}
				if err := w.SetRow(fmt.Sprintf("A%d", i+1), cells); err != nil {
					return err
				}
			}
			return w.Flush()
		})
		text := recoded(book, nil)
		var got [][]string
		for rest := text; rest != ""; {
			fields, n, _, problem := SplitRow(rest, ',', nil)
			if problem != nil {
				t.Fatal(problem.Message)
			}
			var row []string
			for _, f := range fields {
				row = append(row, f.Text)
			}
			got = append(got, row)
			rest = rest[n:]
		}
		// A sheet does not hold the blank cells at the end of a row.
		for i := range rows {
			for len(rows[i]) < len(rows[0]) {
				rows[i] = append(rows[i], "")
			}
		}
		if diff := cmp.Diff(rows, got); diff != "" {
			t.Error(diff)
		}
	})
}

func TestWorkbookSheets(t *testing.T) {
	book := excelizeBook(t, func(f *excelize.File) error {
		for _, name := range []string{"Info", "Empty"} {
			if _, err := f.NewSheet(name); err != nil {
				return err
			}
		}
		if err := f.SetCellValue("Info", "A1", "made by"); err != nil {
			return err
		}
		return f.SetCellValue("Sheet1", "A1", "time")
	})
	for mapText, want := range map[string]string{
		"sheet: info\n":  "made by\n",
		"sheet: Sheet1":  "time\n",
		"sheet: Other\n": `f.xlsx: the workbook has no sheet "Other"`,
		"decimal: comma": "f.xlsx: the workbook has 2 sheets with rows",
	} {
		if diff := cmp.Diff(want, recoded(book, mustMap(t, mapText))); diff != "" {
			t.Error(diff)
		}
	}
}

func TestWorkbookMerges(t *testing.T) {
	merged := func(from, to string) []byte {
		return excelizeBook(t, func(f *excelize.File) error {
			for row := range 4 {
				if err := f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", row+1), &[]any{"dc", row}); err != nil {
					return err
				}
			}
			return f.MergeCell("Sheet1", from, to)
		})
	}
	if got, want := recoded(merged("A2", "A4"), nil), "f.xlsx:2: the cells A2:A4 are merged across rows"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := recoded(merged("A2", "B2"), nil), "dc,0\ndc,\ndc,2\ndc,3\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	for _, mapText := range []string{"header: 3\n", "header: {contains: 'dc,2'}\n"} {
		if got, want := recoded(merged("A1", "A2"), mustMap(t, mapText)), "dc,0\n,1\ndc,2\ndc,3\n"; got != want {
			t.Errorf("%s: got %q, want %q", mapText, got, want)
		}
	}
}

// rawBook writes a workbook from the XML of its sheet, for what no library writes.
func rawBook(t testing.TB, properties, sheet string, more ...string) []byte {
	const links = `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="%s" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/%s" Target="%s"/></Relationships>`
	parts := []string{
		"_rels/.rels", fmt.Sprintf(links, "r1", "officeDocument", "/xl/workbook.xml"),
		"xl/workbook.xml", `<workbook xmlns:r="r"><workbookPr ` + properties + `/><sheets><sheet name="S" r:id="r1"/></sheets></workbook>`,
		"xl/_rels/workbook.xml.rels", fmt.Sprintf(links, "r1", "worksheet", "worksheets/sheet1.xml"),
		"xl/styles.xml", `<styleSheet><cellXfs><xf numFmtId="0"/><xf numFmtId="22"/><xf numFmtId="14"/></cellXfs></styleSheet>`,
		"xl/sharedStrings.xml", `<sst><si><r><t>L1</t></r><r><t>-N</t></r><rPh><t>no</t></rPh></si></sst>`,
		"xl/worksheets/sheet1.xml", sheet,
	}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	parts = append(parts, more...)
	for i := 0; i < len(parts); i += 2 {
		w, err := z.Create(parts[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(parts[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func sheetXML(rows string) string {
	return `<worksheet><sheetData>` + rows + `</sheetData></worksheet>`
}

func TestWorkbookXML(t *testing.T) {
	tests := []struct{ name, properties, sheet, want string }{
		{"shared text in runs", "", sheetXML(`<row r="1"><c r="A1" t="s"><v>0</v></c></row>`), "L1-N\n"},
		{"inline text in runs", "", sheetXML(`<row><c t="inlineStr"><is><r><t>a</t></r><r><t xml:space="preserve"> b</t></r><rPh><t>no</t></rPh></is></c></row>`), "a b\n"},
		{"no references", "", sheetXML(`<row><c><v>1</v></c><c/><c><v>2</v></c></row><row><c><v>3</v></c></row>`), "1,,2\n3,,\n"},
		{"absent rows and cells", "", sheetXML(`<row r="3"><c r="C3"><v>1</v></c></row>`), "\n\n,,1\n"},
		{"error cells are no numbers", "", sheetXML(`<row><c t="e"><v>#N/A</v></c><c t="e"><v>#DIV/0!</v></c></row>`), "#N/A,#DIV!\n"},
		{"formula with its value", "", sheetXML(`<row><c><f>A1*2</f><v>230</v></c><c t="str"><f>"O"&amp;"L"</f><v>OL</v></c></row>`), "230,OL\n"},
		{"date by itself", "", sheetXML(`<row><c t="d"><v>2026-03-02T10:15:00</v></c></row>`), "2026-03-02T10:15:00\n"},
		// ECMA-376-1, 18.17.4.1: in the 1900 system 60 is a day that never was; in the 1904 system 0 is 1904-01-01.
		{"1900: 1, 59, 61", "", sheetXML(`<row><c s="2"><v>1</v></c><c s="2"><v>59</v></c><c s="2"><v>61</v></c></row>`), "1900-01-01,1900-02-28,1900-03-01\n"},
		{"1900: the day that never was", "", sheetXML(`<row><c s="2"><v>60</v></c></row>`), "60\n"},
		{"1904", `date1904="1"`, sheetXML(`<row><c s="2"><v>0</v></c><c s="1"><v>44621.5</v></c></row>`), "1904-01-01,2026-03-02T12:00:00\n"},
		{"17 digits", "", sheetXML(`<row><c><v>229.80000000000001</v></c></row>`), "229.8\n"},
		{"text that is not there", "", sheetXML(`<row><c r="A1" t="s"><v>1</v></c></row>`), "f.xlsx: not a workbook that can be read: row 1: the cell A1 names a text that is not there"},
		{"number of another grammar", "", sheetXML(`<row><c r="A1"><v>1_0</v></c></row>`), `f.xlsx: not a workbook that can be read: row 1: the cell A1 holds "1_0": not a number`},
		{"number in base 16", "", sheetXML(`<row><c r="A1"><v>0x1p-2</v></c></row>`), `f.xlsx: not a workbook that can be read: row 1: the cell A1 holds "0x1p-2": not a number`},
		{"number that is none", "", sheetXML(`<row><c r="A1"><v>23O</v></c></row>`), `f.xlsx: not a workbook that can be read: row 1: the cell A1 holds "23O": not a number`},
		{"no cells", "", sheetXML(`<row r="1"/>`), `f.xlsx: the workbook is empty`},
		{"rows out of order", "", sheetXML(`<row r="2"><c><v>1</v></c></row><row r="2"/>`), `f.xlsx: not a workbook that can be read: row "2" stands behind row 2`},
		{"cells out of order", "", sheetXML(`<row r="1"><c r="B1"><v>1</v></c><c r="A1"><v>1</v></c></row>`), `f.xlsx: not a workbook that can be read: cell "A1" stands in row 1 behind column 2`},
		{"cut short", "", `<worksheet><sheetData><row><c><v>1</v></c></row><row><c>`, "f.xlsx: not a workbook that can be read: the sheet is damaged in row 2: unexpected EOF"},
		{"cut short between rows", "", `<worksheet><sheetData><row><c><v>1</v></c></row>`, "f.xlsx: not a workbook that can be read: the sheet is damaged behind row 1: unexpected EOF"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if diff := cmp.Diff(tt.want, recoded(rawBook(t, tt.properties, tt.sheet), nil)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestWorkbookRefuses(t *testing.T) {
	whole := rawBook(t, "", sheetXML(`<row><c><v>1</v></c></row>`))
	twice := rawBook(t, "", "", "XL/worksheets/sheet1.xml", sheetXML(`<row><c><v>2</v></c></row>`))
	damaged := bytes.Clone(whole)
	copy(damaged[bytes.Index(damaged, []byte("sheet1.xml"))+40:], "damaged!")
	var plain bytes.Buffer
	z := zip.NewWriter(&plain)
	if w, err := z.Create("readings.csv"); err != nil {
		t.Fatal(err)
	} else if _, err := w.Write([]byte("time\n")); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name string
		data []byte
		want string
	}{
		{"cut short", whole[:len(whole)/2], "zip: not a valid zip file"},
		{"another archive", plain.Bytes(), "it holds no worksheet"},
		{"two parts of one name", twice, "it holds two parts called xl/worksheets/sheet1.xml"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if diff := cmp.Diff("f.xlsx: not a workbook that can be read: "+tt.want, recoded(tt.data, nil)); diff != "" {
				t.Error(diff)
			}
		})
	}
	t.Run("damaged", func(t *testing.T) {
		if got := recoded(damaged, nil); !strings.HasPrefix(got, "f.xlsx: not a workbook that can be read: ") {
			t.Errorf("read as %q", got)
		}
	})
}

// A small file that unpacks without end stops at the limit.
func TestLimitedReader(t *testing.T) {
	r := &limitedReader{bytes.NewReader(make([]byte, 100)), 99}
	if _, err := new(bytes.Buffer).ReadFrom(r); !errors.Is(err, errTooLarge) {
		t.Errorf("got %v", err)
	}
	r = &limitedReader{bytes.NewReader(make([]byte, 100)), 100}
	if n, err := new(bytes.Buffer).ReadFrom(r); n != 100 || err != nil {
		t.Errorf("got %d, %v", n, err)
	}
}

// A note in a cell beyond the header is told by its text.
func TestWorkbookNoteBeyondHeader(t *testing.T) {
	book := excelizeBook(t, func(f *excelize.File) error {
		for cell, text := range map[string]string{"A1": "record", "B1": "supply", "A2": "R1", "B2": "dc", "D2": "see below"} {
			if err := f.SetCellStr("Sheet1", cell, text); err != nil {
				return err
			}
		}
		return nil
	})
	_, err := ReadJobs(book, "jobs.xlsx", nil)
	bad, ok := errors.AsType[*BadRows](err)
	if !ok || bad.Error() != `jobs.xlsx:2:8: "see below": 4 fields where the header has 2 fields` || !strings.Contains(bad.First[0].Mend, "clear the cells beyond the header") {
		t.Errorf("%v", err)
	}
}
