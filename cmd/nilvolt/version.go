package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"
)

func newVersion(c *console) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print which nilvolt this is",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			_, err := fmt.Fprintln(c.out, "nilvolt "+version())
			return err
		},
	}
}

// version is the module's version, or the commit that the program was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "(unknown)"
	}
	text := info.Main.Version
	if text == "" {
		text = "(devel)"
	}
	return text + " " + info.GoVersion
}
