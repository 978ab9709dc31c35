package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

// TestHeld holds more than fits into memory and less, and wants all of it back in order
// and no file left.
func TestHeld(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	for _, lines := range []int{0, 1, 1000, 400_000} {
		var h held
		var want, got bytes.Buffer
		for n := range lines {
			fmt.Fprintf(&want, "line %d of the result\n", n)
			if _, err := fmt.Fprintf(&h, "line %d of the result\n", n); err != nil {
				t.Fatal(err)
			}
		}
		if (h.file != nil) != (want.Len() > mostHeld) || h.buf.Len() > mostHeld {
			t.Errorf("%d lines: %d bytes in memory", lines, h.buf.Len())
		}
		if err := h.release(&got); err != nil {
			t.Fatal(err)
		}
		if err := h.close(); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(want.Bytes(), got.Bytes()) {
			t.Errorf("%d lines: %d bytes came back of %d", lines, got.Len(), want.Len())
		}
	}
	if left, _ := filepath.Glob(filepath.Join(os.TempDir(), "*")); len(left) > 0 {
		t.Errorf("left: %q", left)
	}
}
