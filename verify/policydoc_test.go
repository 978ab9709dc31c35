package verify

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A documentedKey is a row of the table in docs/rules.md, section 9.
type documentedKey struct{ key, byDefault, bounds string }

func documentedKeys(t *testing.T) (keys []documentedKey) {
	t.Helper()
	data, err := os.ReadFile("../docs/rules.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, ok := strings.Cut(string(data), "\n## 9. Policy\n")
	if !ok {
		t.Fatal("docs/rules.md has no section 9")
	}
	for line := range strings.SplitSeq(section, "\n") {
		if strings.HasPrefix(line, "| `") {
			cells := strings.Split(strings.Trim(line, "|"), " | ")
			byDefault, _, _ := strings.Cut(cells[1], " (")
			keys = append(keys, documentedKey{quoted.FindStringSubmatch(cells[0])[1], byDefault, strings.TrimSpace(cells[2])})
		}
	}
	return keys
}

func TestPolicyDocumentHasTheKeysAndDefaults(t *testing.T) {
	var names []string
	var file strings.Builder
	for _, k := range documentedKeys(t) {
		names = append(names, k.key)
		if k.byDefault == "none" {
			k.byDefault = "[]"
		}
		file.WriteString(k.key + ": " + k.byDefault + "\n")
	}
	want := strings.Split(policyKeyList(), ", ")
	slices.Sort(names)
	if diff := cmp.Diff(want, names); diff != "" {
		t.Errorf("keys of the program (-) and of docs/rules.md (+):\n%s", diff)
	}
	p, err := ParsePolicy("defaults.yaml", []byte(file.String()))
	if err != nil {
		t.Fatalf("the defaults as docs/rules.md has them: %v", err)
	}
	p.SHA256 = ""
	if *p != *DefaultPolicy() {
		t.Errorf("the defaults of docs/rules.md are not those of DefaultPolicy:\ngot  %+v\nwant %+v", *p, *DefaultPolicy())
	}
}

var (
	below  = regexp.MustCompile(`below (\d+)`)
	atMost = regexp.MustCompile(`at most (\d+)(m|h|)`)
)

// A policy takes every value up to the bound that docs/rules.md states, and none beyond it.
func TestPolicyDocumentHasTheBounds(t *testing.T) {
	bounded := 0
	for _, k := range documentedKeys(t) {
		var taken, refused []string
		if strings.HasPrefix(k.bounds, "above 0") {
			refused = append(refused, "0", "0m", "-1", "-1m")
		}
		if m := below.FindStringSubmatch(k.bounds); m != nil {
			refused = append(refused, m[1], "1000")
		}
		if m := atMost.FindStringSubmatch(k.bounds); m != nil {
			taken = append(taken, m[1]+m[2])
			switch m[2] {
			case "":
				refused = append(refused, m[1]+".001")
			default:
				refused = append(refused, m[1]+m[2]+"1s")
			}
		}
		if len(refused) > 0 {
			bounded++
		}
		for _, value := range taken {
			if _, err := ParsePolicy("p.yaml", []byte(k.key+": "+value)); err != nil {
				t.Errorf("%s: %s, within %q: %v", k.key, value, k.bounds, err)
			}
		}
		for _, value := range refused {
			if _, err := ParsePolicy("p.yaml", []byte(k.key+": "+value)); err == nil {
				t.Errorf("%s: %s is taken, beyond %q", k.key, value, k.bounds)
			}
		}
	}
	if bounded != 10 { // all numbers and times of the table
		t.Errorf("bounds found for %d keys, want 10", bounded)
	}
}
