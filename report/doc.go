// Package report puts on paper what was judged: the sheet of a record, the week of
// a site, the plan of the tool store.
//
// It is handed values and gives bytes; it reads no ledger, file or clock, so that the
// same values always give the same bytes. What is to be said is put together once, as
// a [Document] of blocks, and written twice: as PDF on A4 and as one HTML page, which
// prints the same. Pictures are drawings, put together once as well, and written into
// both.
//
//	record.go, recordblocks.go, readings.go, recordinstruments.go
//	                              the sheet of a record
//	triangle.go, pairpicture.go, timeline.go
//	                              its pictures
//	code.go                       the text of its QR code
//
//	week.go, weekdate.go          the records of a week, counted
//	rates.go, pareto.go           rates, their intervals, what is higher than before
//	sampling.go                   which compliant records are checked by hand
//	weekanswers.go                what a week's report says first
//	weekblocks.go and other week*.go
//	                              the rest of it, and its files as CSV
//	plan.go                       the service plan for the bench
//
//	document.go                   a document: title, running lines, blocks
//	drawing.go                    a picture: lines, shapes, labels, in millimetres
//
//	paper.go, paperblocks.go, papertable.go, paperdrawing.go
//	                              a document as PDF: pages, blocks, text that is measured
//	page.go, svg.go               a document as HTML
//
//	text.go                       text in lines: measured, broken, in the order seen
//	direction.go, arabic.go       right to left, and Arabic letters joined
//	fonts.go                      which font has which character
//
// Everything is black on white. What is wrong is told by words and shapes, which a
// printer without colour and an eye that sees none keep; nothing is green, for nothing
// here is leave to touch.
package report
