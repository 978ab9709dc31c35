package ledger

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"
)

// noTiles is the store of a tree that is held in memory.
func noTiles(tile) ([]tlog.Hash, error) { return nil, errors.New("no such tile") }

// rfcLeaves are the eight leaves of the reference implementation of RFC 6962.
var rfcLeaves = []string{
	"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f",
}

// Source: RFC 6962, 2.1, says how roots are computed; the roots are those of the reference
// implementation's tests, and were computed again with SHA-256 from the definition.
func TestRootsOfRFC6962(t *testing.T) {
	tr := newTree(0, noTiles)
	check := func(want string) {
		t.Helper()
		root, err := tr.root(tr.leaves)
		if err != nil {
			t.Fatal(err)
		}
		if got := hex.EncodeToString(root[:]); got != want {
			t.Errorf("root over %d leaves is %s, want %s", tr.leaves, got, want)
		}
	}
	check("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")
	for i, text := range rfcLeaves {
		data, err := hex.DecodeString(text)
		if err != nil {
			t.Fatal(err)
		}
		if at, err := tr.add(tlog.RecordHash(data)); at != int64(i) || err != nil {
			t.Fatal(at, err)
		}
		if i == 0 {
			check("6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d")
		}
	}
	check("5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328")
}

// plainRoot is the definition of RFC 6962, 2.1, word for word.
func plainRoot(hashes []tlog.Hash) tlog.Hash {
	if len(hashes) == 1 {
		return hashes[0]
	}
	k := 1
	for k*2 < len(hashes) {
		k *= 2
	}
	return tlog.NodeHash(plainRoot(hashes[:k]), plainRoot(hashes[k:]))
}

// A tree over three levels of tiles has the roots of the definition, whatever is in
// memory, and its proofs are right.
func TestTreeAgainstDefinition(t *testing.T) {
	const most = 70_000
	kept := map[tile][]tlog.Hash{}
	load := func(id tile) ([]tlog.Hash, error) {
		if h, ok := kept[id]; ok {
			return slices.Clone(h), nil
		}
		return nil, errors.New("no such tile")
	}
	tr := newTree(0, load)
	var all []tlog.Hash
	for i := range most {
		h := tlog.RecordHash([]byte{byte(i), byte(i >> 8), byte(i >> 16)})
		all = append(all, h)
		if _, err := tr.add(h); err != nil {
			t.Fatal(err)
		}
		if i%777 == 0 { // forget what is in memory
			for id := range tr.changed {
				kept[id] = tr.tiles[id]
			}
			tr = newTree(tr.leaves, load)
		}
	}
	for _, n := range []int64{1, 2, 255, 256, 257, 511, 513, 65_535, 65_536, 65_537, most} {
		if got, err := tr.root(n); err != nil || got != plainRoot(all[:n]) {
			t.Errorf("root over %d leaves: %v %v", n, got, err)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		later := rapid.Int64Range(1, most).Draw(t, "later")
		earlier := rapid.Int64Range(1, later).Draw(t, "earlier")
		at := rapid.Int64Range(0, later-1).Draw(t, "leaf")
		root, old := plainRoot(all[:later]), plainRoot(all[:earlier])
		proof, err := tlog.ProveRecord(later, at, tr)
		if err == nil {
			err = tlog.CheckRecord(proof, later, root, at, all[at])
		}
		if err != nil {
			t.Fatal(err)
		}
		if tlog.CheckRecord(proof, later, root, at, all[(at+1)%most]) == nil {
			t.Fatal("the proof holds for another leaf")
		}
		extends, err := tlog.ProveTree(later, earlier, tr)
		if err == nil {
			err = CheckExtends(extends, Checkpoint{"x", later, root}, Checkpoint{"x", earlier, old})
		}
		if err != nil {
			t.Fatal(err)
		}
		old[3] ^= 1
		if CheckExtends(extends, Checkpoint{"x", later, root}, Checkpoint{"x", earlier, old}) == nil {
			t.Fatal("the proof holds for another root")
		}
	})
}

// Two rows that differ have two leaves, also where the columns run into each other.
func TestLeavesDoNotRunTogether(t *testing.T) {
	seen := map[string]bool{}
	for _, l := range []leaf{
		newLeaf(kindUpload).text("ab").text("c"), newLeaf(kindUpload).text("a").text("bc"), newLeaf(kindUpload).text("abc"),
		newLeaf(kindVersion).text("ab").text("c"), newLeaf(kindUpload).text("ab").bytes(nil).text("c"),
		newLeaf(kindUpload).int(1).int(2), newLeaf(kindUpload).int(1<<32 + 2), newLeaf(kindUpload).int(-1),
	} {
		if seen[string(l)] {
			t.Errorf("%q twice", l)
		}
		seen[string(l)] = true
	}
}

// Source: C2SP tlog-checkpoint and signed-note: three lines, a blank line, lines
// that begin with an em dash.
func TestCheckpoint(t *testing.T) {
	private, public, err := note.GenerateKey(rand.Reader, "ledger-1")
	if err != nil {
		t.Fatal(err)
	}
	signer, err := note.NewSigner(private)
	if err != nil {
		t.Fatal(err)
	}
	c := Checkpoint{Origin: "ledger-1", Leaves: 8, Root: tlog.RecordHash(nil)}
	signed, err := c.sign(signer)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(signed, "\n")
	if lines[0] != "ledger-1" || lines[1] != "8" || lines[2] != "bjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0=" ||
		lines[3] != "" || !strings.HasPrefix(lines[4], "\u2014 ledger-1 ") || lines[5] != "" {
		t.Errorf("the checkpoint is\n%s", signed)
	}
	if got, err := OpenCheckpoint(signed, public); err != nil || got != c {
		t.Errorf("%v %v", got, err)
	}
	_, other, err := note.GenerateKey(rand.Reader, "ledger-1")
	if err != nil {
		t.Fatal(err)
	}
	for name, bad := range map[string]struct{ signed, key string }{
		"another number of leaves": {strings.Replace(signed, "\n8\n", "\n9\n", 1), public},
		"another key":              {signed, other},
		"no signature":             {c.text(), public},
		"no key":                   {signed, "ledger-1"},
		"nothing":                  {"", public},
	} {
		if got, err := OpenCheckpoint(bad.signed, bad.key); err == nil {
			t.Errorf("%s: taken as %v", name, got)
		}
	}
	wrong, err := Checkpoint{Origin: "ledger-2", Leaves: 8}.sign(signer)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := OpenCheckpoint(wrong, public); err == nil {
		t.Errorf("another origin: taken as %v", got)
	}
}
