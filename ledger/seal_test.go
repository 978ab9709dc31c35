package ledger_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nilvolt/ledger"
)

// What is written can be read again, whatever the ids hold, also when it is broken into
// lines as on paper.
func TestSealText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := ledger.Seal{
			Origin: rapid.StringN(1, 30, -1).Draw(t, "origin"), Record: rapid.StringN(1, 30, -1).Draw(t, "record"),
			Number: rapid.IntRange(1, 1000).Draw(t, "number"), Judgement: rapid.Int64Range(1, 1<<40).Draw(t, "judgement"),
		}
		copy(s.Hash[:], rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "hash"))
		text := s.String()
		at := rapid.IntRange(0, len(text)).Draw(t, "break")
		got, err := ledger.ParseSeal(" " + text[:at] + "\n" + text[at:] + " ")
		if err != nil || got != s {
			t.Fatalf("%q reads as %+v, %v, want %+v", text, got, err, s)
		}
	})
}

func TestSealErrors(t *testing.T) {
	hash := strings.Repeat("A", 43)
	for _, text := range []string{
		"", "R7", "nilvolt-sheet-2/o/R7/1/42/" + hash, "nilvolt-sheet-1/o/R7/1/" + hash, "nilvolt-sheet-1/o/R7/0/42/" + hash,
		"nilvolt-sheet-1/o/R7/x/42/" + hash, "nilvolt-sheet-1/o/R7/1/-42/" + hash, "nilvolt-sheet-1/o/R7/1/42/" + hash[1:],
		"nilvolt-sheet-1/o/R7/1/42/" + hash + "/", "nilvolt-sheet-1/%zz/R7/1/42/" + hash, "nilvolt-sheet-1/o/R7/1/42/" + hash[1:] + "B",
	} {
		if s, err := ledger.ParseSeal(text); err == nil {
			t.Errorf("%q is taken for the seal %+v", text, s)
		}
	}
}

// FuzzSeal holds that what is read is written so that it reads the same.
func FuzzSeal(f *testing.F) {
	f.Add("nilvolt-sheet-1/nilvolt-1f0c/R7/1/42/7Vgri5GFVkH0OOoxVbpcwNhd3NUeQxHTctql-_AlBKw")
	f.Add("nilvolt-sheet-1/a/b%2Fc/12/3/" + strings.Repeat("A", 43))
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ledger.ParseSeal(text)
		if err != nil {
			return
		}
		again, err := ledger.ParseSeal(s.String())
		if err != nil || again != s {
			t.Fatalf("%q is %+v, written again %+v, %v", text, s, again, err)
		}
	})
}
