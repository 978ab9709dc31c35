package main

import (
	"bytes"
	"testing"
	"time"
)

func TestProgressShowsOnlyWhatIsLong(t *testing.T) {
	tests := []struct {
		name     string
		terminal bool
		term     string
		total    int64
		after    time.Duration
		want     bool // a bar is begun
	}{
		{"a short file", true, "xterm", 1 << 20, 0, false},
		{"a short file that takes long", true, "xterm", 1 << 20, 2 * time.Second, true},
		{"a long file", true, "xterm", 1 << 30, 0, true},
		{"a long file on no terminal", false, "xterm", 1 << 30, 2 * time.Second, false},
		{"a long file on a dumb terminal", true, "dumb", 1 << 30, 2 * time.Second, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var screen bytes.Buffer
			now := time.Unix(0, 0)
			p := newProgress(&console{
				err: &screen, errIsTerminal: tt.terminal,
				now: func() time.Time { return now }, getenv: func(string) string { return tt.term },
			}, 2)
			now = now.Add(tt.after)
			p.update(1, tt.total)
			if got := p != nil && p.bar != nil; got != tt.want {
				t.Errorf("a bar: %v, want %v", got, tt.want)
			}
			p.update(tt.total, tt.total) // the end of a pass is not the end
			p.update(7, tt.total)
			if p != nil && p.bar != nil && p.bar.Current() != tt.total+7 {
				t.Errorf("the bar is at %d, want %d", p.bar.Current(), tt.total+7)
			}
			p.stop()
			p.stop()
			if !tt.want && screen.Len() > 0 {
				t.Errorf("%q was written", screen.String())
			}
		})
	}
}
