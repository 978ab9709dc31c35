package main

import (
	"os"
	"path/filepath"
	"testing"
)

// TestSourceChanged puts another file in the place of one that is being handed in: what
// is kept must be what was judged.
func TestSourceChanged(t *testing.T) {
	name := filepath.Join(t.TempDir(), "site.csv")
	createFile(t, name, deadText)
	s, err := gather(t.Context(), []string{name}, &inputFlags{}, &console{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.close()
	f, err := s.open(0)
	if err != nil {
		t.Fatal(err)
	}
	f.Close()
	other := name + ".new"
	createFile(t, other, liveText)
	if err := os.Rename(other, name); err != nil {
		t.Fatal(err)
	}
	if _, err := s.open(0); err == nil {
		t.Error("another file is taken for the first")
	}
}
