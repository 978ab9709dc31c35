package main

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestClean(t *testing.T) {
	tests := []struct{ in, unicode, ascii string }{
		{"R-7 box", "R-7 box", "R-7 box"},
		{"\x1b[31mred", `\x1b[31mred`, `\x1b[31mred`},
		{"a\nb\tc", `a\nb\tc`, `a\nb\tc`},
		{"Ω", "Ω", `\u03a9`},
		{"\u202eevil", `\u202eevil`, `\u202eevil`},
		{"\u009b31m", `\u009b31m`, `\u009b31m`},
		{"a\xffb", `a\xffb`, `a\xffb`},
		{"日本", "日本", `\u65e5\u672c`},
		{"it's", "it's", "it's"},
	}
	for _, tt := range tests {
		if got := (theme{unicode: true}).clean(tt.in); got != tt.unicode {
			t.Errorf("clean(%q) = %q, want %q", tt.in, got, tt.unicode)
		}
		if got := (theme{}).clean(tt.in); got != tt.ascii {
			t.Errorf("in ASCII clean(%q) = %q, want %q", tt.in, got, tt.ascii)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		got := theme{}.clean(string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")))
		if i := strings.IndexFunc(got, func(r rune) bool { return r < ' ' || r > '~' }); i >= 0 {
			t.Fatalf("%q holds what is no printable ASCII", got)
		}
	})
}

func TestWrap(t *testing.T) {
	got := wrap("prove the indicator, then test 日本語 again", 12)
	want := []string{"prove the", "indicator,", "then test", "日本語 again"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestThemeFollowsTheConsole(t *testing.T) {
	tests := []struct {
		name     string
		terminal bool
		columns  int
		env      map[string]string
		want     theme
	}{
		{"a pipe", false, 0, nil, theme{width: 80}},
		{"a terminal", true, 100, map[string]string{"LANG": "de_DE.UTF-8"}, theme{width: 100, colour: true, unicode: true}},
		{"NO_COLOR with any text", true, 80, map[string]string{"NO_COLOR": "0"}, theme{width: 80}},
		{"NO_COLOR blank says nothing", true, 80, map[string]string{"NO_COLOR": ""}, theme{width: 80, colour: true}},
		{"a dumb terminal", true, 80, map[string]string{"TERM": "dumb"}, theme{width: 80}},
		{"LC_ALL goes before LANG", true, 80, map[string]string{"LC_ALL": "C", "LANG": "en_US.UTF-8"}, theme{width: 80, colour: true}},
		{"a very narrow terminal", true, 10, nil, theme{width: 40, colour: true}},
		{"a very wide terminal", true, 300, nil, theme{width: 110, colour: true}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := &console{outIsTerminal: tt.terminal, columns: tt.columns, getenv: func(name string) string { return tt.env[name] }}
			tt.want.zone = time.UTC // where the console has none
			if got := c.theme(); got != tt.want {
				t.Errorf("got %+v, want %+v", got, tt.want)
			}
		})
	}
}

func TestNumbers(t *testing.T) {
	for n, want := range map[int]string{0: "0 rows", 1: "1 row", 999: "999 rows", 1000: "1,000 rows", 9980: "9,980 rows", 1234567: "1,234,567 rows"} {
		if got := plural(n, "row"); got != want {
			t.Errorf("plural(%d) = %q, want %q", n, got, want)
		}
	}
}
