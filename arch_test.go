// Package nilvolt holds the test of the house as a whole: which package may import
// which. The picture stands in DEVELOPERS.md.
package nilvolt

import (
	"go/build"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const module = "nilvolt"

// A level says what a folder may import of this module, and whether it is pure.
type level struct {
	imports []string // folders of this module; those below them are meant as well
	pure    bool     // no file, network, clock, database, randomness or logging
	leaf    bool     // the standard library only
}

// house is every top folder with Go files, and those below one that are of another
// kind. One that is missing here fails the test, so that a new folder finds its place
// in the picture first.
var house = map[string]level{
	"record":   {pure: true, leaf: true},
	"formats":  {pure: true, imports: []string{"record"}},
	"verify":   {pure: true, imports: []string{"record"}},
	"fleet":    {pure: true, imports: []string{"record"}},
	"clocks":   {pure: true, imports: []string{"record"}},
	"guide":    {pure: true, imports: []string{"record", "verify"}},
	"ingest":   {imports: []string{"record", "formats", "clocks"}},
	"capture":  {imports: []string{"record", "formats", "verify"}},
	"ledger":   {imports: []string{"record"}},
	"report":   {imports: []string{"record", "verify", "fleet"}},
	"web":      {imports: []string{"record", "verify", "fleet", "report", "ledger"}},
	"fixtures": {pure: true, imports: []string{"record"}},
	// Simulated instruments stand at ports.
	"fixtures/instruments": {},
	"cmd":                  {imports: []string{"record", "formats", "verify", "fleet", "guide", "ingest", "capture", "ledger", "report", "web", "fixtures"}},
	"bench":                {imports: []string{"ledger"}},
}

// impure are the parts of the standard library that pure packages do without,
// those below them included.
var impure = []string{
	"crypto/rand", "database/sql", "embed", "io/ioutil", "log", "math/rand", "net", "os", "plugin",
	"runtime/debug", "syscall", "testing", "unsafe",
}

// allowed are the exceptions to impure, each with its reason.
var allowed = map[string][]string{
	// The invented site: the same seed gives the same bytes, and files come along
	// in the program.
	"fixtures/demo": {"math/rand/v2", "embed"},
}

func TestImportDirections(t *testing.T) {
	packages := goFolders(t)
	if !slices.Contains(packages, "record") {
		t.Fatalf("looked in the wrong place: %q", packages)
	}
	for _, folder := range packages {
		for _, complaint := range complaints(folder, importsOf(t, folder)) {
			t.Error(complaint)
		}
	}
}

// complaints returns what is wrong with the imports of the package in folder.
func complaints(folder string, imports []string) []string {
	top, _, _ := strings.Cut(folder, "/")
	l, known := house[folder]
	if !known {
		l, known = house[top]
	}
	if !known {
		return []string{folder + ": a folder without a place in the picture; add it to house"}
	}
	var found []string
	for _, imported := range imports {
		inModule, ours := strings.CutPrefix(imported, module+"/")
		switch {
		case ours && !isBelow(inModule, top) && !isBelowAny(inModule, l.imports):
			found = append(found, folder+" imports "+imported+": points up or sideways")
		case ours:
		case l.leaf && !isStandard(imported):
			found = append(found, folder+" imports "+imported+": a leaf uses the standard library only")
		case l.pure && isBelowAny(imported, impure) && !slices.Contains(allowed[folder], imported):
			found = append(found, folder+" imports "+imported+": a pure package has no file, network, clock or chance")
		}
	}
	return found
}

// isBelow reports whether name is the folder or lies in it.
func isBelow(name, folder string) bool {
	return name == folder || strings.HasPrefix(name, folder+"/")
}

func isBelowAny(name string, folders []string) bool {
	return slices.ContainsFunc(folders, func(folder string) bool { return isBelow(name, folder) })
}

// isStandard reports whether an import path belongs to the standard library: its
// first element has no dot.
func isStandard(imported string) bool {
	first, _, _ := strings.Cut(imported, "/")
	return !strings.Contains(first, ".")
}

// goFolders returns the folders below this one that hold a Go package, slashes
// between the parts.
func goFolders(t *testing.T) []string {
	t.Helper()
	var folders []string
	err := fs.WalkDir(os.DirFS("."), ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		base := path.Base(name)
		if entry.IsDir() {
			if name != "." && (base == "testdata" || base == "node_modules" || base[0] == '.' || base[0] == '_') {
				return fs.SkipDir
			}
			return nil
		}
		folder := path.Dir(name)
		if folder != "." && strings.HasSuffix(base, ".go") && !strings.HasSuffix(base, "_test.go") {
			folders = append(folders, folder)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(folders)
	return slices.Compact(folders)
}

// importsOf returns what the package in folder imports on any system, its tests left
// out: those may use files and chance.
func importsOf(t *testing.T, folder string) []string {
	t.Helper()
	c := build.Default
	c.UseAllFiles = true
	p, err := c.ImportDir(filepath.FromSlash(folder), 0)
	if err != nil {
		t.Fatal(err)
	}
	return p.Imports
}

// The test of the test: what must be refused is refused.
func TestComplaints(t *testing.T) {
	tests := []struct {
		folder, imported string
		ok               bool
	}{
		{"record", "strings", true},
		{"record", "nilvolt/formats", false},
		{"record", "golang.org/x/text/cases", false},
		{"record", "os", false},
		{"formats", "nilvolt/record", true},
		{"formats", "golang.org/x/text/encoding", true},
		{"formats", "nilvolt/verify", false},
		{"formats", "os/exec", false},
		{"verify", "nilvolt/ingest", false},
		{"verify", "math/rand/v2", false},
		{"verify", "net/netip", false},
		{"verify", "unsafe", false},
		{"fleet", "database/sql", false},
		{"ingest", "os", true},
		{"ingest", "nilvolt/formats", true},
		{"ingest", "nilvolt/verify", false},
		{"ledger", "nilvolt/web", false},
		{"report", "nilvolt/verify", true},
		{"report", "nilvolt/ledger", false},
		{"cmd/nilvolt", "nilvolt/ingest", true},
		{"cmd/nilvolt", "nilvolt/bench", false},
		{"fixtures/demo", "nilvolt/fixtures/published", true},
		{"fixtures/demo", "nilvolt/cmd/nilvolt", false},
		{"fixtures/demo", "math/rand/v2", true},
		{"fixtures/demo", "os", false},
		{"fixtures/instruments", "os", true},
		{"fixtures/instruments", "nilvolt/capture", false},
		{"attic", "strings", false},
	}
	for _, test := range tests {
		found := complaints(test.folder, []string{test.imported})
		if (len(found) == 0) != test.ok {
			t.Errorf("%s imports %s: complaints %q, want none: %t", test.folder, test.imported, found, test.ok)
		}
	}
}
