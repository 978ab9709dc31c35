package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"nilvolt/fixtures/demo"
)

func newDemo(c *console) *cobra.Command {
	return &cobra.Command{
		Use:   "demo DIR",
		Short: "Write thirteen weeks of invented records to try things on",
		Long: `Write the demo to a folder, which is made if it does not exist: thirteen weeks of
readings of an invented crew, their job sheet, instrument register and policy,
and lists of the faults that were put in on purpose. The same files come out
every time. A folder that holds anything is left alone.`,
		Example: "  nilvolt demo demo\n  nilvolt verify demo/readings-*.csv --jobs demo/jobs.csv --instruments demo/instruments.csv",
		Args:    exactArgs(1, "name the folder that the demo goes to"),
		RunE: func(_ *cobra.Command, args []string) error {
			return runDemo(args[0], c)
		},
	}
}

// runDemo writes the demo to dir.
func runDemo(dir string, c *console) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	if len(entries) > 0 {
		return hint("name a new folder", "%s: the folder is not empty", dir)
	}
	files := 0
	err = demo.Write(func(name string) (io.WriteCloser, error) {
		files++
		return createBuffered(filepath.Join(dir, filepath.FromSlash(name)))
	})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.out, "%s written to %s; README.txt says what they hold\n", plural(files, "file"), dir)
	return err
}

// A bufferedFile is a new file that is written in large pieces.
type bufferedFile struct {
	*bufio.Writer
	file *os.File
}

// createBuffered makes a new file and the folders above it.
func createBuffered(path string) (*bufferedFile, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, err
	}
	return &bufferedFile{bufio.NewWriterSize(f, 64<<10), f}, nil
}

// Close writes what is left and closes the file.
func (b *bufferedFile) Close() error {
	return errors.Join(b.Flush(), b.file.Close())
}
