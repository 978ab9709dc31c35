// Package ingest turns files of readings into whole records.
//
// A record's rows may lie anywhere: in one stretch, as a rule, but also scattered
// over a file or over several. So the files are read twice. [Open] walks over all
// rows without decoding them, finds where the record id changes, and remembers the
// hashes of the ids: an id that comes twice is scattered, and the places of its
// rows are noted in a second walk. [Set.Each] then decodes the rows, a segment of
// about 256 KiB a worker, and gives each record whole to the visitor; the rows of a
// scattered record are fetched to where its first one stands.
//
// Files are read with ReadAt and never held in memory. What is kept is in
// proportion to the rows of scattered records, to those without a record id, and to the
// proofs of the instruments of these; otherwise it is bounded.
//
// Rows without a record id are an instrument's own log. They belong to the records
// whose job sheets, or whose own rows, name the instrument at their time. Where a log
// shows proofs that records or other logs show too, package clocks finds out how far
// its clock is off, and where that is sure its rows are matched by corrected times;
// [Set.Clocks] tells what was found.
//
// One bad row makes an error of the whole input. Records that it may belong to are
// not visited: its own, and where the form of the row leaves in doubt whose it
// is, the ones beside it too.
package ingest
