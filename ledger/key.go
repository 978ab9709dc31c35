package ledger

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// A key signs checkpoints. Its file holds the private key, "PRIVATE+KEY+...", and
// the public one, a line each, and only its owner may read it.
type key struct {
	signer   note.Signer
	verifier string // the public key
}

// readKey reads a key file.
func readKey(path string) (*key, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	private, public, _ := strings.Cut(strings.TrimSpace(string(text)), "\n")
	signer, err := note.NewSigner(private)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, ErrNotKeyFile)
	}
	verifier, err := note.NewVerifier(public)
	if err != nil || verifier.Name() != signer.Name() || verifier.KeyHash() != signer.KeyHash() {
		return nil, fmt.Errorf("%s: %w, or one whose two keys do not belong together", path, ErrNotKeyFile)
	}
	return &key{signer, public}, nil
}

// makeKey reads the key file, and writes a new one where there is none. Of several
// processes that do so at once one writes it and all read it.
func makeKey(path string, random io.Reader) (*key, error) {
	k, err := readKey(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return k, err
	}
	var name [8]byte
	if _, err := io.ReadFull(random, name[:]); err != nil {
		return nil, err
	}
	private, public, err := note.GenerateKey(random, fmt.Sprintf("nilvolt-%x", name))
	if err != nil {
		return nil, err
	}
	if err := writeOnce(path, private+"\n"+public+"\n"); err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, err
	}
	return readKey(path)
}

// writeOnce writes a file that only its owner may read, whole or not at all; an
// fs.ErrExist if there is one.
func writeOnce(path, text string) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".key-*") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.WriteString(text)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Link(f.Name(), path)
}
