package formats

// A Layout says what the columns of one file mean. It is made from the file's
// header, and from a column map where the file is not canonical.
type Layout struct {
	Comma     byte     // the delimiter
	FirstRow  int64    // where the first row behind the header begins, in bytes of the UTF-8 text
	FirstLine int      // the line of that row
	Columns   []Column // what each column of the file is; NoColumn is kept and ignored

	// mapping is nil for a canonical file, whose field texts are canonical as
	// they stand.
	mapping *mapping
}

// IsPlain reports whether the field texts are canonical as they stand, so that
// rows can be decoded without Convert.
func (l *Layout) IsPlain() bool { return l.mapping == nil }

// A Use says what a converted row is.
type Use uint8

// The uses of a row.
const (
	Reading Use = iota // a row of events
	Skipped            // a footer, or a row whose function is not voltage: no reading
)
