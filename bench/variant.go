package main

import (
	"bufio"
	"context"
	"encoding/binary"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"
)

// maxVariantRows keeps the rows within one sheet of a workbook, 1,048,576.
const maxVariantRows = 1_000_000

// A variant is a foreign form of the readings.
type variant struct {
	name  string
	file  string
	write func(w io.Writer, r io.Reader) error // from the canonical form
	// columnMap is the map that the form is read through, blank for none.
	columnMap string
}

var variants = []variant{
	{name: "canonical CSV", file: "plain.csv", write: copyPlain},
	{name: "through a map: semicolons, decimal commas, local times", file: "mapped.csv", write: writeMapped, columnMap: mappedMap},
	{name: "UTF-16", file: "utf16.csv", write: writeUTF16},
	{name: "workbook", file: "workbook.xlsx", write: writeWorkbook},
}

// measureVariants writes every variant of the same readings and measures nilvolt on
// each. It has no targets, but the verdicts must be the same on all.
func measureVariants(ctx context.Context, o options, programs []contender, dir string) error {
	source := filepath.Join(dir, "readings.csv")
	want, err := generateApart(ctx, source, min(o.rows, maxVariantRows), o.shuffle)
	if err != nil {
		return err
	}
	if err := runApart(ctx, io.Discard, "variants", source, dir); err != nil {
		return err
	}
	var forms []contender
	var inputs []string
	for _, v := range variants {
		forms = append(forms, v.contender(dir, programs[0]))
		input := filepath.Join(dir, v.file)
		inputs = append(inputs, input)
		if _, err := warm(input); err != nil {
			return err
		}
	}
	fmt.Printf("%d rows, %d records; medians of %d interleaved rounds\n\n", want.Rows, want.Records, o.rounds)
	results, err := measureRounds(ctx, forms, inputs, o.rounds)
	if err != nil {
		return err
	}
	printVariants(os.Stdout, results)
	agreed := true
	for i, c := range forms {
		same, err := compareVerdicts(ctx, os.Stdout, []contender{c}, inputs[i], want)
		if err != nil {
			return err
		}
		agreed = agreed && same
	}
	if !agreed {
		return errNotMet
	}
	return nil
}

// contender returns how plain is to be called to read the variant in dir.
func (v *variant) contender(dir string, plain contender) contender {
	c := plain
	c.title = v.name
	if v.columnMap != "" {
		c.args = func(input, out string) []string {
			return append(plain.args(input, out), "--map", v.mapFile(dir))
		}
	}
	return c
}

func (v *variant) mapFile(dir string) string { return filepath.Join(dir, v.file+".yaml") }

// runVariants writes all variants of a canonical file, with their maps, into a
// folder.
func runVariants(args []string) error {
	if len(args) != 2 {
		return errors.New("variants takes a file of readings and the folder to write to")
	}
	source, dir := args[0], args[1]
	for _, v := range variants {
		if err := v.writeFile(filepath.Join(dir, v.file), source); err != nil {
			return fmt.Errorf("%s: %w", v.name, err)
		}
		if v.columnMap == "" {
			continue
		}
		if err := os.WriteFile(v.mapFile(dir), []byte(v.columnMap), 0o666); err != nil {
			return err
		}
	}
	return nil
}

func (v *variant) writeFile(name, source string) error {
	r, err := os.Open(source)
	if err != nil {
		return err
	}
	defer r.Close()
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, mebibyte)
	return errors.Join(v.write(w, bufio.NewReaderSize(r, mebibyte)), w.Flush(), f.Close())
}

// printVariants prints the medians, and how many times as long as the first each
// variant takes.
func printVariants(w io.Writer, results []result) {
	fmt.Fprintln(w, "| form | wall s | CPU s | peak MiB | wall / canonical | CPU / canonical |")
	fmt.Fprintln(w, "|---|--:|--:|--:|--:|--:|")
	plain := results[0].median()
	for i := range results {
		m := results[i].median()
		fmt.Fprintf(w, "| %s | %.3f | %.3f | %.1f | %.1f | %.1f |\n", results[i].title,
			m.wall.Seconds(), m.cpu.Seconds(), float64(m.peak)/mebibyte,
			m.wall.Seconds()/plain.wall.Seconds(), m.cpu.Seconds()/plain.cpu.Seconds())
	}
	fmt.Fprintln(w)
}

func copyPlain(w io.Writer, r io.Reader) error {
	_, err := io.Copy(w, r)
	return err
}

// mappedHeader names the columns of the mapped form, in the order of header.
const mappedHeader = "order;when;action;tester;unit;probe 1;probe 2;reading;target;system\n"

// mappedMap brings the mapped form back.
const mappedMap = `delimiter: semicolon
decimal: comma
layout: dd.MM.yyyy HH:mm:ss
zone: ` + mappedZone + `
columns:
  record: order
  time: when
  event:
    column: action
    words: {before: prove, measure: test, after: reprove, switch off: isolate, padlock: lock}
  indicator: tester
  source: unit
  from: {column: probe 1, words: {earth: E}}
  to: {column: probe 2, words: {earth: E}}
  volts: {column: reading, unit: V}
  expected: {column: target, unit: V}
  supply: system
`

// mappedZone changes its clocks in March and October; maxVariantRows ends in
// February.
const mappedZone = "Europe/Berlin"

// mappedWords are the words of the mapped form for those of the canonical one.
var mappedWords = map[string]string{
	"prove": "before", "test": "measure", "reprove": "after", "isolate": "switch off", "lock": "padlock", "E": "earth",
}

// writeMapped writes a dialect that nothing but a map can read.
func writeMapped(w io.Writer, r io.Reader) error {
	zone, err := time.LoadLocation(mappedZone)
	if err != nil {
		return err
	}
	if _, err := io.WriteString(w, mappedHeader); err != nil {
		return err
	}
	return eachRow(r, func(_ int, fields []string) error {
		t, err := time.Parse(time.RFC3339, fields[1])
		if err != nil {
			return err
		}
		fields[1] = t.In(zone).Format("02.01.2006 15:04:05")
		fields[7] = strings.Replace(fields[7], ".", ",", 1)
		for _, i := range []int{2, 5, 6} {
			if word, ok := mappedWords[fields[i]]; ok {
				fields[i] = word
			}
		}
		_, err = io.WriteString(w, strings.Join(fields, ";")+"\n")
		return err
	})
}

// writeUTF16 writes the same characters as UTF-16, little end first, with a byte
// order mark.
func writeUTF16(w io.Writer, r io.Reader) error {
	unit := binary.LittleEndian.AppendUint16(nil, '\uFEFF')
	if _, err := w.Write(unit); err != nil {
		return err
	}
	var line []byte
	for s := bufio.NewScanner(r); ; {
		if !s.Scan() {
			return s.Err()
		}
		line = line[:0]
		for _, u := range utf16.Encode([]rune(s.Text() + "\n")) {
			line = binary.LittleEndian.AppendUint16(line, u)
		}
		if _, err := w.Write(line); err != nil {
			return err
		}
	}
}

// writeWorkbook writes the rows into one sheet, numbers as numbers and the rest as
// text.
func writeWorkbook(w io.Writer, r io.Reader) (err error) {
	book := excelize.NewFile()
	defer func() { err = errors.Join(err, book.Close()) }()
	sheet, err := book.NewStreamWriter("Sheet1")
	if err != nil {
		return err
	}
	var names []any
	for name := range strings.SplitSeq(strings.TrimSpace(header), ",") {
		names = append(names, name)
	}
	if err := sheet.SetRow("A1", names); err != nil {
		return err
	}
	cells := make([]any, len(names))
	err = eachRow(r, func(row int, fields []string) error {
		for i, text := range fields {
			cells[i] = text
			if number, err := strconv.ParseFloat(text, 64); err == nil {
				cells[i] = number
			}
		}
		return sheet.SetRow(fmt.Sprintf("A%d", row+2), cells)
	})
	if err := errors.Join(err, sheet.Flush()); err != nil {
		return err
	}
	return book.Write(w)
}

// eachRow calls f with every row behind the header of a canonical file; the first
// is row 0.
func eachRow(r io.Reader, f func(row int, fields []string) error) error {
	records := csv.NewReader(r)
	records.ReuseRecord = true
	if _, err := records.Read(); err != nil {
		return err
	}
	for row := 0; ; row++ {
		fields, err := records.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if err := f(row, fields); err != nil {
			return err
		}
	}
}
