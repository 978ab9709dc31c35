package capture

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// However data are cut into pieces on their way, the lines are the same, and nothing
// is lost.
func TestSplitterDoesNotDependOnPieces(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		data := strings.Join(rapid.SliceOf(rapid.SampledFrom([]string{"a", "bc", "\r", "\n", "\r\n", ",", strings.Repeat("x", MaxLine)})).Draw(rt, "data"), "")
		var one splitter
		want := append(one.feed([]byte(data)), one.idle()...)
		var many splitter
		var got []cut
		for rest := data; rest != ""; {
			n := rapid.IntRange(1, len(rest)).Draw(rt, "piece")
			got = append(got, many.feed([]byte(rest[:n]))...)
			rest = rest[n:]
		}
		got = append(got, many.idle()...)
		var joined strings.Builder
		for i, c := range got {
			if i >= len(want) || c != want[i] {
				rt.Fatalf("piece by piece %+v, at once %+v", got, want)
			}
			joined.WriteString(c.data)
		}
		if joined.String() != data {
			rt.Fatalf("%q became %q", data, joined.String())
		}
	})
}

func TestSplitterEnds(t *testing.T) {
	var s splitter
	for _, step := range []struct {
		feed string
		want []cut
	}{
		{"a\nb\r\nc", []cut{{"a\n", true}, {"b\r\n", true}}},
		{"\r", nil},                    // perhaps the LF comes
		{"\n", []cut{{"c\r\n", true}}}, // it did
		{"d\re\r", []cut{{"d\r", true}}},
		{"", []cut{{"e\r", true}}}, // nothing came for a while
		{"half", nil},
		{"", []cut{{"half", false}}},
	} {
		got := s.feed([]byte(step.feed))
		if step.feed == "" {
			got = s.idle()
		}
		if len(got) != len(step.want) {
			t.Fatalf("%q gives %+v, want %+v", step.feed, got, step.want)
		}
		for i := range got {
			if got[i] != step.want[i] {
				t.Errorf("%q gives %+v, want %+v", step.feed, got, step.want)
			}
		}
	}
}
