package main

import (
	"context"
	"errors"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// newRoot returns the program with all its commands.
func newRoot(c *console) *cobra.Command {
	root := &cobra.Command{
		Use:   "nilvolt",
		Short: "Judge the evidence of safe isolation",
		Long: `nilvolt reads what voltage indicators recorded of an isolation and says for each
record whether the evidence is complete: the indicator proved before and after,
every pair of conductors tested dead.

It judges evidence, not conductors. A verdict is no permission to touch.

Exit status: 0 when every record complies, 1 when not, 2 when input could not be
read or the command was wrong.`,
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.SetIn(c.in)
	root.SetOut(c.out)
	root.SetErr(c.err)
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		value, ok := errors.AsType[*pflag.InvalidValueError](err)
		if _, isNumber := errors.AsType[*strconv.NumError](err); ok && isNumber {
			return hint("write a number, such as 7", "--%s %q is no number that can be taken", value.GetFlag().Name, value.GetValue())
		}
		return hint(cmd.CommandPath()+" --help lists the flags", "%v", err)
	})
	root.AddCommand(newVerify(c), newIngest(c), newCapture(c), newReview(c), newInstruments(c), newAudit(c), newBackup(c), newRestore(c), newExport(c), newReport(c), newFormats(c), newDemo(c), newMan(c), newVersion(c))
	refuseUnknown(root)
	return root
}

// execute runs the program with its arguments and returns the exit code.
func execute(ctx context.Context, c *console, args []string) int {
	root := newRoot(c)
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	// Output that did not get out is not output, whatever the verdict was.
	if flushErr := c.out.Flush(); flushErr != nil && !errors.Is(err, flushErr) {
		err = errors.Join(err, flushErr)
	}
	c.diagnose(err)
	return exitCode(err)
}
