package main

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/unicode"
)

// A row of the mapped form, by eye.
func TestMappedForm(t *testing.T) {
	const plain = header +
		"R1,2026-01-05T23:30:00Z,test,VI-1,,L1,E,1.5,,three-phase\n" +
		"R1,2026-01-05T23:31:00Z,reprove,VI-1,PU-1,,,---,230,\n"
	const want = mappedHeader +
		"R1;06.01.2026 00:30:00;measure;VI-1;;L1;earth;1,5;;three-phase\n" +
		"R1;06.01.2026 00:31:00;after;VI-1;PU-1;;;---;230;\n"
	var b strings.Builder
	if err := writeMapped(&b, strings.NewReader(plain)); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Errorf("mapped form (-want +got):\n%s", diff)
	}
}

// The decoder of golang.org/x/text is of another hand than writeUTF16.
func TestUTF16HoldsTheSameText(t *testing.T) {
	plain, _ := generated(t, 500)
	var b bytes.Buffer
	if err := writeUTF16(&b, bytes.NewReader(plain)); err != nil {
		t.Fatal(err)
	}
	got, err := unicode.UTF16(unicode.BigEndian, unicode.ExpectBOM).NewDecoder().Bytes(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(plain), string(got)); diff != "" {
		t.Errorf("text (-plain +decoded):\n%s", diff)
	}
}

func TestWorkbookHoldsTheSameCells(t *testing.T) {
	plain, _ := generated(t, 500)
	var b bytes.Buffer
	if err := writeWorkbook(&b, bytes.NewReader(plain)); err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	got, err := book.GetRows("Sheet1", excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	want, err := csv.NewReader(bytes.NewReader(plain)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range want {
		row[7] = strings.TrimSuffix(row[7], ".0") // a number's cell has no trailing zero
		for len(row) > 0 && row[len(row)-1] == "" {
			row = row[:len(row)-1] // GetRows leaves out blank cells at the end
		}
		want[i] = row
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("cells (-plain +workbook):\n%s", diff)
	}
}
