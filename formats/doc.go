// Package formats turns bytes into the nouns of package record: CSV in its many
// dialects, column maps, text encodings, workbooks, job sheets and registers.
//
// It is pure: it takes text or readers and gives values and errors; it opens no
// file and knows no clock.
package formats
