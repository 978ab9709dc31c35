package main

import (
	"bytes"
	"io"
	"os"

	"github.com/spf13/cobra"

	"nilvolt/formats"
)

func newFormats(c *console) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "formats",
		Short: "Propose and try column maps for files that are not canonical",
		Long: `Instruments write their logs in many ways. A column map (YAML) says how one is to
be read; nothing is ever guessed when records are judged.

Work in this order: formats guess, look at what is unsure, formats check, verify.`,
	}
	cmd.AddCommand(newGuess(c), newCheck(c))
	return cmd
}

func newGuess(c *console) *cobra.Command {
	return &cobra.Command{
		Use:   "guess FILE",
		Short: "Propose a column map for a file",
		Long: `Print a column map for the file, with a comment beside each line that says what it
was guessed from. A line that is not sure says so, and what to do about it.

Exit status: 0 when every line is sure, 1 when one is not, 2 when the file is
nothing that can be read.`,
		Example: "  nilvolt formats guess logger.txt > logger.yaml",
		Args:    exactArgs(1, "name the file to look at, or - for standard input"),
		RunE: func(_ *cobra.Command, args []string) error {
			return runGuess(args[0], c)
		},
	}
}

// runGuess prints the map that is proposed for a file.
func runGuess(name string, c *console) error {
	data, err := readHead(name, c.in)
	if err != nil {
		return err
	}
	guess, err := formats.GuessMap(data, name)
	if err != nil {
		return err
	}
	if _, err := c.out.WriteString(guess.Map); err != nil {
		return err
	}
	if !guess.Sure {
		return errUnsure
	}
	return nil
}

// readHead reads what a map is guessed from: the first MiB of a file, or all of
// a workbook, whose parts lie anywhere. The name "-" is standard input.
func readHead(name string, stdin io.Reader) ([]byte, error) {
	const head, most = 1 << 20, 256 << 20
	in := stdin
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
	}
	data, err := io.ReadAll(io.LimitReader(in, head))
	if err != nil || !bytes.HasPrefix(data, []byte("PK\x03\x04")) { // the start of a ZIP file, as a workbook is
		return data, err
	}
	rest, err := io.ReadAll(io.LimitReader(in, most))
	return append(data, rest...), err
}
