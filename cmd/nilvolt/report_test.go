package main

import (
	"strings"
	"testing"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
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

// The sheets of two records do not overwrite each other where the disk takes upper and
// lower case, or an accented letter and its parts, for the same.
func TestSheetNameOnADiskThatIsBlindToCase(t *testing.T) {
	seen := map[string]string{}
	for _, id := range []string{"R7", "r7", "Site-R7", "SITE-R7", "site-R7", "\u00e9-1", "e\u0301-1", "\u00c9-1", "R7_", "r7_", "\u017f1", "S1", "s1", "\u212a1", "K1"} {
		name := norm.NFC.String(cases.Fold().String(sheetName(id, 1)))
		if other := seen[name]; other != "" {
			t.Errorf("%q and %q are both %q", id, other, name)
		}
		seen[name] = id
	}
	if name := sheetName("R-7.1", 1); name != "record-R-7.1" {
		t.Errorf("a plain id gives %q", name)
	}
}
