package formats

// mapping brings the fields of a foreign row into canonical text.
type mapping struct{}
