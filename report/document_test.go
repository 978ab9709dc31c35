package report

import (
	"bytes"
	"testing"
	"time"
)

// sample is a document with every kind of block.
func sample() *Document {
	d := &Document{
		title: "A sample", subject: "every block", head: say("Running head"), foot: say("Running foot"),
		made: time.Date(2024, 2, 29, 12, 0, 0, 0, time.UTC),
	}
	picture := &drawing{width: 80, height: 30, title: "a picture", text: "a box with a line through it"}
	picture.box(1, 1, 78, 28, faint, black, 0.3)
	picture.line(1, 1, 79, 29, 0.2, mid)
	picture.add(circle{x: 40, y: 15, r: 5, fill: white, stroke: black, width: 0.3},
		label{x: 40, y: 16, size: 3, words: say("middle"), align: atCentre, ink: black},
		label{x: 5, y: 25, size: 3, words: say("upwards"), ink: black, turned: true})
	var rows []row
	for range 100 {
		rows = append(rows, row{cells: []words{say("1"), say("11:22:33"), say("some text, which is long enough to be broken where its column ends, as it must be").linked("#findings")}})
	}
	d.add(heading{level: 1, text: say("Title of it")},
		verdict{word: "WORD", text: say("what it means"), grave: heavy},
		facts{columns: 2, list: []fact{{"name", given("value")}, {"other", given("\u05d0\u05d1")}, {"third", say("3")}}},
		heading{level: 2, text: say("Findings"), id: "findings"},
		points{list: []point{{mark: "1", text: say("first"), below: []words{say("below it")}}}},
		beside{share: 0.5, left: []block{figure{drawing: picture, caption: say("caption")}}, right: []block{paragraph{text: say("beside it")}}},
		table{columns: []column{{head: "no", align: atRight}, {head: "time"}, {head: "text", weight: 1}}, rows: rows},
		keep{blocks: []block{paragraph{text: say("kept"), small: true}}},
		newPage{},
		signatures{who: []string{"Technician"}})
	return d
}

func TestSameBytes(t *testing.T) {
	first, err := sample().PDF()
	if err != nil {
		t.Fatal(err)
	}
	second, err := sample().PDF()
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(first, second) {
		t.Error("the same document gives two PDFs that differ")
	}
	if len(first) > 100_000 {
		t.Errorf("a PDF of 3 pages has %d bytes: are the fonts embedded whole?", len(first))
	}
	if !bytes.Equal(sample().HTML(), sample().HTML()) {
		t.Error("the same document gives two pages that differ")
	}
}
