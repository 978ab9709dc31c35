package nilvolt

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/formats"
)

// docs/parquet.md has every column of every table, in order, with its unit.
func TestParquetDocumentHasTheColumns(t *testing.T) {
	text := documents(t)["docs/parquet.md"]
	for name, want := range formats.ParquetTables() {
		var got []formats.ParquetColumn
		for _, row := range table(t, text, name) {
			for _, column := range quotedWords(row[0]) {
				got = append(got, formats.ParquetColumn{Name: column, Unit: strings.TrimSpace(row[1])})
			}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s, of the program (-) and of docs/parquet.md (+):\n%s", name, diff)
		}
		for _, c := range want {
			if c.Unit == "" {
				t.Errorf("%s: %s has no unit", name, c.Name)
			}
		}
	}
}
