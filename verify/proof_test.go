package verify

import (
	"strings"
	"testing"

	"nilvolt/record"
)

func TestIDsInAnyCase(t *testing.T) {
	ids := []string{"", "VI-7", "vi-7", "PU-7", "K1", "k1", "\u212a1", "S1", "\u017f1", "@1", "`1", "\u00e4", "\u00c4", "a", "live", "LiVe", "five", "Live-1", "\u0130"}
	for _, a := range ids {
		if got, want := isLive(a), strings.EqualFold(a, record.Live); got != want {
			t.Errorf("isLive(%q) = %v", a, got)
		}
		for _, b := range ids {
			if got, want := sameID(a, b), strings.EqualFold(a, b); got != want {
				t.Errorf("sameID(%q, %q) = %v", a, b, got)
			}
		}
	}
}
