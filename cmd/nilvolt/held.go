package main

import (
	"bytes"
	"errors"
	"io"
	"os"
)

// mostHeld is how many bytes of results are held in memory; more are held in a temporary
// file.
const mostHeld = 4 << 20

// A held is results that nobody may see yet: "kept" is true only when the transaction is
// committed. The zero held is empty; after the last use close must be called.
type held struct {
	buf  bytes.Buffer
	file *os.File
}

// Write holds more results.
func (h *held) Write(p []byte) (int, error) {
	if h.buf.Len()+len(p) > mostHeld {
		if err := h.spill(); err != nil {
			return 0, err
		}
	}
	return h.buf.Write(p)
}

// spill moves what is in memory to the file.
func (h *held) spill() error {
	if h.file == nil {
		f, err := os.CreateTemp("", "nilvolt-*")
		if err != nil {
			return err
		}
		h.file = f
	}
	_, err := h.buf.WriteTo(h.file)
	return err
}

// release writes all that was held to w.
func (h *held) release(w io.Writer) error {
	if h.file != nil {
		if _, err := h.file.Seek(0, io.SeekStart); err != nil {
			return err
		}
		if _, err := io.Copy(w, h.file); err != nil {
			return err
		}
	}
	_, err := h.buf.WriteTo(w)
	return err
}

// close removes the file.
func (h *held) close() error {
	if h.file == nil {
		return nil
	}
	return errors.Join(h.file.Close(), os.Remove(h.file.Name()))
}
