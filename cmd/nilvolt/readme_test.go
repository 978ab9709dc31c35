package main

import (
	"bufio"
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"nilvolt/verify"
)

// indentedBlocks returns the blocks of a Markdown text that are indented by four
// blanks, without these.
func indentedBlocks(text string) (blocks []string) {
	var block []string
	end := func() {
		if len(block) > 0 {
			blocks = append(blocks, strings.TrimSpace(strings.Join(block, "\n")))
		}
		block = nil
	}
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\n")
		code, indented := strings.CutPrefix(line, "    ")
		switch {
		case indented:
			block = append(block, code)
		case line == "" && block != nil:
			block = append(block, "")
		default:
			end()
		}
	}
	end()
	return blocks
}

func readDocument(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("../..", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// The run that the README shows is what the program prints. "[...]" in a line of
// its own stands for lines left out.
func TestReadmeRun(t *testing.T) {
	_, section, ok := strings.Cut(readDocument(t, "README.md"), "\n## One run\n")
	if !ok {
		t.Fatal("the README has no section called One run")
	}
	section, _, _ = strings.Cut(section, "\n## ")
	command, want, _ := strings.Cut(strings.Join(indentedBlocks(section), "\n"), "\n")
	args, ok := strings.CutPrefix(command, "$ go run ./cmd/nilvolt ")
	if !ok {
		t.Fatalf("the run begins with %q", command)
	}

	t.Chdir("../..")
	var out, diagnostics bytes.Buffer
	c := &console{
		in: strings.NewReader(""), out: bufio.NewWriter(&out), err: &diagnostics,
		getenv: func(name string) string { return map[string]string{"LANG": "C.UTF-8"}[name] },
	}
	if code := execute(t.Context(), c, strings.Fields(args)); code != exitNotCompliant {
		t.Errorf("exit code %d, want %d; %s", code, exitNotCompliant, &diagnostics)
	}
	rest := out.String()
	for i, part := range strings.Split(want, "\n[...]\n") {
		part = strings.TrimSpace(part)
		at := strings.Index(rest, part)
		if at < 0 || i == 0 && at > 0 {
			t.Fatalf("the README shows\n%s\nwhich is not printed, or not in this order:\n%s", part, &out)
		}
		rest = rest[at+len(part):]
	}
	if strings.TrimSpace(rest) != "" {
		t.Errorf("the README ends before the program does:\n%s", rest)
	}
}

// Every command line of the README and of docs has a command and flags that there are.
func TestDocumentedCommands(t *testing.T) {
	seen := 0
	for _, name := range []string{"README.md", "DEVELOPERS.md", "docs/files.md", "docs/instruments.md", "docs/ledger.md", "docs/maps.md", "fixtures/demo/README.md"} {
		for _, block := range indentedBlocks(readDocument(t, name)) {
			for line := range strings.Lines(block) {
				_, args, ok := strings.Cut(strings.TrimSpace(line), "nilvolt ")
				if !ok || strings.Contains(line, "go install") || strings.Contains(line, "go test") {
					continue
				}
				args, _, _ = strings.Cut(args, " # ")
				args, _, _ = strings.Cut(args, " > ")
				seen++
				checkCommand(t, name, shellWords(args))
			}
		}
	}
	if seen < 10 {
		t.Errorf("found %d command lines in the documents", seen)
	}
}

// shellWords divides a command line at its blanks; double quotes hold some together.
func shellWords(line string) []string {
	var words []string
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			words = append(words, part)
		} else {
			words = append(words, strings.Fields(part)...)
		}
	}
	return words
}

func checkCommand(t *testing.T, name string, args []string) {
	t.Helper()
	root := newRoot(&console{out: bufio.NewWriter(&bytes.Buffer{}), err: &bytes.Buffer{}})
	root.InitDefaultCompletionCmd(args...)
	cmd, rest, err := root.Find(args)
	if err != nil || cmd == root {
		t.Errorf("%s: nilvolt %s: no such command (%v)", name, strings.Join(args, " "), err)
		return
	}
	if err := cmd.ParseFlags(rest); err != nil {
		t.Errorf("%s: nilvolt %s: %v", name, strings.Join(args, " "), err)
	}
	if err := cmd.ValidateArgs(cmd.Flags().Args()); err != nil {
		t.Errorf("%s: nilvolt %s: %v", name, strings.Join(args, " "), err)
	}
}

// The policy that the README shows is one.
func TestReadmePolicy(t *testing.T) {
	for _, block := range indentedBlocks(readDocument(t, "README.md")) {
		if strings.HasPrefix(block, "# policy.yaml") {
			p, err := verify.ParsePolicy("policy.yaml", []byte(block))
			if err != nil {
				t.Fatal(err)
			}
			if loose := p.Loosened(); len(loose) > 0 {
				t.Errorf("the README's policy is looser than the default: %q", loose)
			}
			return
		}
	}
	t.Error("the README shows no policy.yaml")
}
