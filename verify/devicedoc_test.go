package verify

import (
	"os"
	"strings"
	"testing"
)

// docs/files.md names every device that is known by a name.
func TestDocumentNamesDevices(t *testing.T) {
	text, err := os.ReadFile("../docs/files.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range deviceTable {
		if !strings.Contains(string(text), "`"+d.name+"`") {
			t.Errorf("docs/files.md lacks %s", d.name)
		}
		if _, found := findDevice(d.name); !found {
			t.Errorf("%s is not found by its name", d.name)
		}
	}
	if _, found := findDevice("MCB"); found {
		t.Error("MCB is known, and docs/files.md says that it is not")
	}
}
