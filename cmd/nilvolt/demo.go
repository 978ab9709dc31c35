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
	o := &demoOptions{}
	cmd := &cobra.Command{
		Use:   "demo DIR",
		Short: "Write thirteen weeks of invented records to try things on",
		Long: `Write the demo to a folder, which is made if it does not exist: thirteen weeks of
readings of an invented crew, their job sheet, instrument register and policy,
and lists of the faults that were put in on purpose. The same files come out
every time. A folder that holds anything is left alone.

With --serial, show a capture instead: simulated instruments stand at two serial
ports, a technician who is simulated too says what he does, and nilvolt capture
records it in the folder (Linux only). --scenario says what happens; list lists
what can. With --by-hand you do it yourself, with nilvolt capture in another
terminal: here each Enter makes the instruments send what comes next.`,
		Example: `  nilvolt demo demo
  nilvolt verify demo/readings-*.csv --jobs demo/jobs.csv --instruments demo/instruments.csv
  nilvolt demo try --serial --scenario live`,
		Args: func(cmd *cobra.Command, args []string) error {
			if o.scenario == "list" && len(args) == 0 {
				return nil
			}
			return exactArgs(1, "name the folder that the demo goes to")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case o.scenario == "list":
				return listScenarios(c)
			case o.serial:
				return runDemoSerial(cmd.Context(), o, args[0], c)
			}
			return runDemo(args[0], c)
		},
	}
	f := cmd.Flags()
	f.BoolVar(&o.serial, "serial", false, "show a capture with simulated instruments")
	f.StringVar(&o.scenario, "scenario", "good", "with --serial, the `name` of what happens; list lists them")
	f.Uint64Var(&o.seed, "seed", 1, "with --serial, another `number` gives other readings")
	f.Float64Var(&o.pace, "pace", 2, "with --serial, how many `times` as fast as real work")
	f.BoolVar(&o.byHand, "by-hand", false, "with --serial, only offer the ports, for a capture in another terminal")
	return cmd
}

// runDemo writes the demo to dir.
func runDemo(dir string, c *console) error {
	if err := newFolder(dir); err != nil {
		return err
	}
	files := 0
	err := demo.Write(func(name string) (io.WriteCloser, error) {
		files++
		return createBuffered(filepath.Join(dir, filepath.FromSlash(name)))
	})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.out, "%s written to %s; README.txt says what they hold\n", plural(files, "file"), dir)
	return err
}

// newFolder makes a folder; one that is there must be empty.
func newFolder(dir string) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return cannotWrite(err)
	}
	entries, err := os.ReadDir(dir)
	if err == nil && len(entries) > 0 {
		err = hint("name a new folder", "%s: the folder is not empty", dir)
	}
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
		return nil, cannotWrite(err)
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, cannotWrite(err)
	}
	return &bufferedFile{bufio.NewWriterSize(f, 64<<10), f}, nil
}

// Close writes what is left and closes the file.
func (b *bufferedFile) Close() error {
	return errors.Join(b.Flush(), b.file.Close())
}
