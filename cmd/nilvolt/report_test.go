package main

import (
	"strings"
	"testing"
)

// One record with a long id must not keep the week's report from being written: Linux
// takes file names of 255 bytes (NAME_MAX in limits.h, from memory).
func TestSheetNameIsAFileName(t *testing.T) {
	seen := map[string]string{}
	for _, id := range []string{"R7", "..", "a/b", "a_b", strings.Repeat("Q", 50_000), strings.Repeat("Q", 50_001), strings.Repeat("\u6f22", 300)} {
		name := sheetName(id, 12) + ".html"
		if len(name) > 255 || strings.Contains(name, "/") || strings.ContainsRune(name, '\ufffd') {
			t.Errorf("%.20q: %q", id, name)
		}
		if other := seen[name]; other != "" {
			t.Errorf("%.20q and %.20q are both %q", id, other, name)
		}
		seen[name] = id
	}
}
