package main

import (
	"strings"

	"github.com/spf13/cobra"
)

// refuseUnknown makes every command that only groups others refuse a word that
// names none of them, and help too. A script must not take a misspelt command
// for one that went well.
func refuseUnknown(root *cobra.Command) {
	root.SetHelpCommand(newHelp(root))
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	for _, cmd := range append(root.Commands(), root) {
		if cmd.HasSubCommands() && !cmd.Runnable() {
			cmd.Args = cobra.ArbitraryArgs
			cmd.SuggestionsMinimumDistance = 2 // letters
			cmd.RunE = func(cmd *cobra.Command, args []string) error {
				if len(args) > 0 {
					return unknownCommand(cmd, args[0])
				}
				return cmd.Help()
			}
		}
	}
}

func newHelp(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Tell about a command",
		RunE: func(_ *cobra.Command, args []string) error {
			cmd, rest, err := root.Find(args)
			if err != nil {
				return err
			}
			if len(rest) > 0 {
				return unknownCommand(cmd, rest[0])
			}
			return cmd.Help()
		},
	}
}

// unknownCommand names the commands that there are.
func unknownCommand(parent *cobra.Command, name string) error {
	var names []string
	for _, sub := range parent.Commands() {
		if sub.IsAvailableCommand() {
			names = append(names, sub.Name())
		}
	}
	mend := "its commands are " + strings.Join(names, ", ")
	if len(names) == 0 {
		mend = parent.CommandPath() + " --help tells how it is used"
	}
	if near := parent.SuggestionsFor(name); len(near) > 0 {
		mend = "did you mean " + strings.Join(near, " or ") + "? " + mend
	}
	return hint(mend, "%s has no command %q", parent.CommandPath(), name)
}
