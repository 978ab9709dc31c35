package formats

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The examples of docs/maps.md are a map, a file, and what it becomes.
func TestMapsDocument(t *testing.T) {
	text, err := os.ReadFile("../docs/maps.md")
	if err != nil {
		t.Fatal(err)
	}
	blocks := regexp.MustCompile("(?s)```(yaml|csv|text)\n(.*?)```\n").FindAllStringSubmatch(string(text), -1)
	examples := 0
	for i := 0; i+2 < len(blocks); i += 3 {
		if blocks[i][1] != "yaml" || blocks[i+1][1] != "csv" || blocks[i+2][1] != "text" {
			t.Fatalf("blocks %d to %d are no map, file and result", i, i+2)
		}
		examples++
		want := strings.TrimSuffix(blocks[i+2][2], "\n")
		if diff := cmp.Diff(want, readRows(blocks[i][2], "R7.csv", blocks[i+1][2])); diff != "" {
			t.Errorf("after %q:\n%s", blocks[i][2], diff)
		}
	}
	if examples < 5 || len(blocks)%3 != 0 {
		t.Errorf("%d examples in %d blocks", examples, len(blocks))
	}
}
