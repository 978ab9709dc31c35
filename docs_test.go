package nilvolt

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/formats"
	"nilvolt/record"
)

// documents returns the project's documents by path.
func documents(t *testing.T) map[string]string {
	t.Helper()
	paths, err := filepath.Glob("*.md")
	if err != nil {
		t.Fatal(err)
	}
	more, err := filepath.Glob("docs/*.md")
	if err != nil {
		t.Fatal(err)
	}
	texts := map[string]string{}
	for _, path := range append(paths, more...) {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		texts[path] = string(data)
	}
	return texts
}

var (
	link = regexp.MustCompile(`\]\(([^)#]+)(?:#[^)]*)?\)`)

	// quotedPath finds a path of this repository in back quotes: one that ends in a
	// slash, or whose name ends as those of its files do.
	quotedPath = regexp.MustCompile("`([\\w.-]+(?:/[\\w.-]+)*(?:/|\\.(?:go|md|yml|txtar|mjs|sql)))`")
)

// Every file that a document links to is there, and so is every file of the
// house that DEVELOPERS.md and README.md speak of.
func TestDocumentsPointAtWhatIsThere(t *testing.T) {
	for path, text := range documents(t) {
		for _, m := range link.FindAllStringSubmatch(text, -1) {
			if strings.Contains(m[1], "://") {
				continue
			}
			if _, err := os.Stat(filepath.Join(filepath.Dir(path), m[1])); err != nil {
				t.Errorf("%s links to %s: %v", path, m[1], err)
			}
		}
		if path != "README.md" && path != "DEVELOPERS.md" {
			continue
		}
		for _, m := range quotedPath.FindAllStringSubmatch(text, -1) {
			if _, err := os.Stat(m[1]); err != nil {
				t.Errorf("%s speaks of `%s`: %v", path, m[1], err)
			}
		}
	}
}

var (
	identifier = regexp.MustCompile(`[A-Za-z_]\w*`)

	// quotedName finds a name of the program in back quotes: one with a capital within
	// or before it, perhaps behind a package, a type or a variable.
	quotedName = regexp.MustCompile("`(?:[a-z]\\w*\\.|[A-Z]\\w*\\.)?([a-z]+[A-Z]\\w*|[A-Z][a-z]\\w*)`")
)

// Every name of the program that DEVELOPERS.md speaks of is in the program.
func TestDevelopersNamesWhatIsThere(t *testing.T) {
	known := map[string]bool{}
	for _, folder := range goFolders(t) {
		paths, err := filepath.Glob(filepath.Join(folder, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range paths {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for _, name := range identifier.FindAllString(string(data), -1) {
				known[name] = true
			}
		}
	}
	names := quotedName.FindAllStringSubmatch(documents(t)["DEVELOPERS.md"], -1)
	if len(names) < 20 {
		t.Errorf("found %d names in DEVELOPERS.md", len(names))
	}
	for _, m := range names {
		if !known[m[1]] {
			t.Errorf("DEVELOPERS.md speaks of %s, which is not in the program", m[0])
		}
	}
}

// Every top folder with Go files has its line in the picture of DEVELOPERS.md, and
// every module that is imported outside of tests its line among the dependencies.
func TestDevelopersShowsTheHouse(t *testing.T) {
	text := documents(t)["DEVELOPERS.md"]
	for _, folder := range goFolders(t) {
		top, _, _ := strings.Cut(folder, "/")
		if !strings.Contains(text, "\n    "+top+"/") {
			t.Errorf("the picture in DEVELOPERS.md lacks %s", folder)
		}
		for _, imported := range importsOf(t, folder) {
			if isStandard(imported) || isBelow(imported, module) {
				continue
			}
			if !slices.ContainsFunc(dependencies(text), func(m string) bool { return isBelow(imported, m) }) {
				t.Errorf("%s imports %s, which is not among the dependencies in DEVELOPERS.md", folder, imported)
			}
		}
	}
}

// dependencies returns the modules in the tables of DEVELOPERS.md.
func dependencies(text string) (modules []string) {
	_, section, _ := strings.Cut(text, "\n## Dependencies\n")
	section, _, _ = strings.Cut(section, "\n## ")
	for line := range strings.SplitSeq(section, "\n") {
		if cell, _, ok := strings.Cut(strings.TrimPrefix(line, "| "), " | "); ok && strings.Contains(cell, ".") {
			modules = append(modules, strings.Split(cell, ", ")...)
		}
	}
	return modules
}

// table returns the first two cells of every row of the table below a heading.
func table(t *testing.T, text, heading string) (rows [][2]string) {
	t.Helper()
	_, section, ok := strings.Cut(text, "\n## "+heading+"\n")
	if !ok {
		t.Fatalf("no heading %q", heading)
	}
	section, _, _ = strings.Cut(section, "\n## ")
	for line := range strings.SplitSeq(section, "\n") {
		if strings.HasPrefix(line, "| `") {
			cells := strings.Split(strings.Trim(line, "| "), " | ")
			rows = append(rows, [2]string{cells[0], cells[1]})
		}
	}
	return rows
}

var quoted = regexp.MustCompile("`([^`]+)`")

func quotedWords(text string) (words []string) {
	for _, m := range quoted.FindAllStringSubmatch(text, -1) {
		words = append(words, m[1])
	}
	return words
}

func columns(from, to formats.Column, more ...formats.Column) map[string]bool {
	names := map[string]bool{}
	for c := from; c <= to; c++ {
		names[c.String()] = true
	}
	for _, c := range more {
		names[c.String()] = true
	}
	return names
}

func TestFilesDocumentHasTheColumns(t *testing.T) {
	text := documents(t)["docs/files.md"]
	for heading, want := range map[string]map[string]bool{
		"Readings":            columns(formats.RecordColumn, formats.NoteColumn),
		"Job sheet":           columns(formats.SiteColumn, formats.EndColumn, formats.RecordColumn, formats.IndicatorColumn),
		"Instrument register": columns(formats.InstrumentColumn, formats.ReferenceColumn, formats.CategoryColumn),
	} {
		got := map[string]bool{}
		for _, row := range table(t, text, heading) {
			for _, name := range quotedWords(row[0]) {
				got[name] = true
			}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("columns under %q, of the program (-) and of docs/files.md (+):\n%s", heading, diff)
		}
	}
}

// wordsOf returns the words of an enumeration of package record, in order.
func wordsOf[T interface {
	~uint8
	String() string
}](parse func(string) (T, error),
) (words []string) {
	for v := T(1); ; v++ {
		word := v.String()
		if got, err := parse(word); err != nil || got != v {
			return words
		}
		words = append(words, word)
	}
}

func TestFilesDocumentHasTheWords(t *testing.T) {
	text := documents(t)["docs/files.md"]
	content := map[string]string{}
	for _, heading := range []string{"Readings", "Job sheet", "Instrument register"} {
		for _, row := range table(t, text, heading) {
			for _, name := range quotedWords(row[0]) {
				content[heading+" "+name] = row[1]
			}
		}
	}
	for column, want := range map[string][]string{
		"Readings waveform":            wordsOf(record.ParseWaveform),
		"Readings switch":              wordsOf(record.ParseSwitch),
		"Readings side":                wordsOf(record.ParseSide),
		"Job sheet supply":             wordsOf(record.ParseSupply),
		"Job sheet earthing":           wordsOf(record.ParseEarthing),
		"Job sheet poles":              wordsOf(record.ParsePoles),
		"Job sheet onload":             wordsOf(record.ParseYesNo),
		"Job sheet category":           wordsOf(record.ParseCategory),
		"Instrument register kind":     wordsOf(record.ParseInstrumentKind),
		"Instrument register category": wordsOf(record.ParseCategory),
	} {
		if diff := cmp.Diff(want, quotedWords(content[column])); diff != "" {
			t.Errorf("%s, words of the program (-) and of docs/files.md (+):\n%s", column, diff)
		}
	}
	events := map[string]bool{}
	for _, word := range quotedWords(content["Readings event"]) {
		events[word] = true
	}
	for _, word := range record.KindWords() {
		if !events[word] {
			t.Errorf("docs/files.md does not name the event %s", word)
		}
		delete(events, word)
	}
	if len(events) > 0 {
		t.Errorf("docs/files.md names events that there are not: %v", events)
	}
}
