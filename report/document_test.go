package report

import (
	"bytes"
	"strings"
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

// FuzzDocument holds that no text breaks a document: every PDF is made, the same twice,
// and a page has the parts that it would have with any other text.
func FuzzDocument(f *testing.F) {
	for _, text := range []string{"plain", "", " ", "\u05d0\u05d1 (1)", "\u0644\u0627\u200c\u0627", "\x00\xff", "</style><script>", "\"'&<>", "😀\u0301", "\u202e)(", "a\r\nb"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d := &Document{title: text, subject: text, head: given(text), foot: given(text), made: time.Unix(0, 0)}
		d.add(heading{level: 1, text: given(text)}, verdict{word: "WORD", text: given(text)}, facts{list: []fact{{text, given(text)}}},
			points{list: []point{{mark: "1", text: given(text), below: []words{given(text)}}}},
			table{columns: []column{{head: text}, {head: "b", weight: 1}}, rows: []row{{cells: []words{given(text), say("%s", text).linked(text)}}}})
		first, err := d.PDF()
		if err != nil {
			t.Fatal(err)
		}
		second, _ := d.PDF()
		if !bytes.Equal(first, second) {
			t.Error("two PDFs of one document differ")
		}
		page := string(d.HTML())
		for part, want := range map[string]int{"<script": 0, "<style>": 1, "</style>": 1, "<h1>": 1, "<dl": 1, "<tr": 2, "</html>": 1} {
			if n := strings.Count(page, part); n != want {
				t.Errorf("%d times %s in the page, want %d", n, part, want)
			}
		}
	})
}
