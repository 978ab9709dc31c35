package formats

// A Map says how a file that is not canonical is read: its form, and which of
// its columns holds what.
type Map struct {
	encoding *charset // nil: as the bytes tell
	sheet    string   // of a workbook; blank is the first one
}

// mapping brings the fields of a foreign row into canonical text.
type mapping struct{}
