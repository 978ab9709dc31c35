// Package formats turns bytes into the nouns of package record: CSV in its many
// dialects, column maps, text encodings, workbooks, job sheets and registers.
//
// A file of readings goes through four steps. [Sniff] says what its bytes are;
// [Recode] makes UTF-8 text of them where they are anything else; [Bind] makes a
// [Layout] of the header, and of a [Map] where the file is not canonical; then
// each row becomes a [Row] of canonical text ([Layout.Convert]) and that an event
// ([DecodeRow], or a [Decoder] for many rows). Three lines of a log
//
//	Zeit;Art;Leiter;U (mV)
//	02.03.2026 10:15:40;Messung;L1-Erde;200,5
//	02.03.2026 10:15:52;Messung;L1-N;OL
//
// and the map
//
//	delimiter: semicolon
//	decimal: comma
//	zone: Europe/Berlin
//	layout: dd.MM.yyyy HH:mm:ss
//	columns:
//	  time: Zeit
//	  event: {column: Art, words: {Messung: test}}
//	  indicator: {value: VI-07}
//	  pair: {column: Leiter, words: {Erde: E}}
//	  volts: {column: U (mV), unit: mV}
//
// become the canonical rows
//
//	time                       event  indicator  pair  volts
//	2026-03-02T10:15:40+01:00  test   VI-07      L1/E  0.2005
//	2026-03-02T10:15:52+01:00  test   VI-07      L1/N  OL
//
// Nothing is guessed on the way: what a map does not say is an error that names
// file, line and column. [GuessMap] proposes maps and tells what it is not sure of.
//
// Small files are read whole, by [ReadJobs] and [ReadRegister].
//
// The package is pure: it takes text or readers and gives values and errors; it
// opens no file and knows no clock. The one table that it has from outside is the
// time zone database.
package formats
