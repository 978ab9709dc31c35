package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

func newMan(c *console) *cobra.Command {
	return &cobra.Command{
		Use:   "man DIR",
		Short: "Write the manual pages",
		Long: `Write a manual page for nilvolt and for each of its commands to a folder, which is
made if it does not exist.`,
		Example: "  nilvolt man ~/.local/share/man/man1",
		Args:    exactArgs(1, "name the folder that the pages go to"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runMan(cmd.Root(), args[0], c)
		},
	}
}

// exactArgs asks for n arguments, with what to do when there are not as many.
func exactArgs(n int, mend string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != n {
			return hint(mend, "%s takes %s, not %d", cmd.CommandPath(), plural(n, "argument"), len(args))
		}
		return nil
	}
}

// runMan writes a page for root and each command below it that is shown.
func runMan(root *cobra.Command, dir string, c *console) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return cannotWrite(err)
	}
	pages := manPages(root)
	for _, page := range pages {
		if err := os.WriteFile(filepath.Join(dir, page.name), []byte(page.text), 0o666); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(c.out, "%s written to %s\n", plural(len(pages), "manual page"), dir)
	return err
}

// A manPage is a file of the manual.
type manPage struct{ name, text string }

// manPages returns the pages of cmd and of all commands below it.
func manPages(cmd *cobra.Command) []manPage {
	cmd.InitDefaultHelpFlag()
	dashed := strings.ReplaceAll(cmd.CommandPath(), " ", "-")
	pages := []manPage{{dashed + ".1", manText(cmd, dashed)}}
	for _, sub := range cmd.Commands() {
		if sub.IsAvailableCommand() && !sub.IsAdditionalHelpTopicCommand() {
			pages = append(pages, manPages(sub)...)
		}
	}
	return pages
}

// manText writes the page of one command with the macros of man(7).
func manText(cmd *cobra.Command, dashed string) string {
	var b strings.Builder
	fmt.Fprintf(&b, ".TH %s 1 \"\" nilvolt\n", strings.ToUpper(roff(dashed)))
	fmt.Fprintf(&b, ".SH NAME\n%s \\- %s\n", roff(dashed), roff(cmd.Short))
	fmt.Fprintf(&b, ".SH SYNOPSIS\n.B %s\n", roff(cmd.UseLine()))
	about := cmd.Long
	if about == "" {
		about = cmd.Short + "."
	}
	b.WriteString(".SH DESCRIPTION\n")
	for i, paragraph := range strings.Split(about, "\n\n") {
		if rest, ok := strings.CutPrefix(paragraph, "Exit status: "); ok {
			b.WriteString(".SH EXIT STATUS\n" + roff(rest) + "\n")
			continue
		}
		if i > 0 {
			b.WriteString(".PP\n")
		}
		b.WriteString(roff(paragraph) + "\n")
	}
	flags := cmd.NonInheritedFlags()
	if flags.HasAvailableFlags() {
		b.WriteString(".SH OPTIONS\n")
		flags.VisitAll(func(f *pflag.Flag) { b.WriteString(manFlag(f)) })
	}
	if cmd.Example != "" {
		fmt.Fprintf(&b, ".SH EXAMPLES\n.nf\n%s\n.fi\n", roff(cmd.Example))
	}
	var others []string
	if cmd.HasParent() {
		others = append(others, strings.ReplaceAll(cmd.Parent().CommandPath(), " ", "-"))
	}
	for _, sub := range cmd.Commands() {
		if sub.IsAvailableCommand() {
			others = append(others, strings.ReplaceAll(sub.CommandPath(), " ", "-"))
		}
	}
	if len(others) > 0 {
		fmt.Fprintf(&b, ".SH SEE ALSO\n.BR %s (1)\n", roff(strings.Join(others, " (1), ")))
	}
	return b.String()
}

// manFlag writes one option.
func manFlag(f *pflag.Flag) string {
	if f.Hidden {
		return ""
	}
	kind, usage := pflag.UnquoteUsage(f)
	name := "--" + f.Name
	if f.Shorthand != "" {
		name = "-" + f.Shorthand + ", " + name
	}
	line := ".TP\n\\fB" + roff(name) + "\\fR"
	if kind != "" {
		line += " \\fI" + roff(kind) + "\\fR"
	}
	return line + "\n" + roff(usage) + "\n"
}

// roff escapes text for man(7): a hyphen is a minus as it is typed, and no line
// begins with a control character.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(text)
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, ".") || strings.HasPrefix(line, "'") {
			lines[i] = `\&` + line
		}
	}
	return strings.Join(lines, "\n")
}
