package verify

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"sort"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"nilvolt/record"
)

// A PolicyError is a mistake in a policy file, or a value of the register that no
// policy may allow.
type PolicyError struct {
	Pos     record.Pos
	Message string // what is wrong
	Mend    string // what to do about it
}

// Error returns file:line:column and what is wrong.
func (e *PolicyError) Error() string { return e.Pos.String() + ": " + e.Message }

// ParsePolicy reads a policy file (YAML, the keys of docs/rules.md section 9)
// over the default policy. All mistakes are returned, each a *PolicyError, joined
// by errors.Join. name is the file's name for messages.
func ParsePolicy(name string, data []byte) (*Policy, error) {
	p := DefaultPolicy()
	sum := sha256.Sum256(data)
	p.SHA256 = hex.EncodeToString(sum[:])
	file, err := parser.ParseBytes(data, 0)
	if err != nil {
		return nil, syntaxError(name, err)
	}
	var errs []error
	seen := map[string]bool{} // over all documents: a later one must not loosen an earlier
	for _, doc := range file.Docs {
		if doc.Body == nil {
			continue
		}
		values, ok := entries(doc.Body)
		if !ok {
			return nil, &PolicyError{
				Pos:     record.Pos{File: name, Line: 1},
				Message: "a policy is a list of keys with values", Mend: "write lines such as dead_limit: 6",
			}
		}
		for _, value := range values {
			if err := p.set(name, value, seen); err != nil {
				errs = append(errs, err)
			}
		}
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	return p, nil
}

// entries returns the keys with their values, of a file with one key or more; a
// file of comments only has none.
func entries(body ast.Node) ([]*ast.MappingValueNode, bool) {
	switch n := body.(type) {
	case *ast.MappingNode:
		return n.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{n}, true
	case *ast.CommentGroupNode, *ast.NullNode:
		return nil, true
	}
	return nil, false
}

// syntaxError places an error of the YAML parser.
func syntaxError(name string, err error) error {
	e := &PolicyError{Pos: record.Pos{File: name, Line: 1}, Message: err.Error(), Mend: "mend the YAML at that place"}
	if at, ok := errors.AsType[yaml.Error](err); ok {
		e.Message = at.GetMessage()
		if t := at.GetToken(); t != nil && t.Position != nil {
			e.Pos.Line, e.Pos.Column = t.Position.Line, t.Position.Column
		}
	}
	return e
}

// set takes one key of the file into p.
func (p *Policy) set(name string, entry *ast.MappingValueNode, seen map[string]bool) error {
	at := entry.Key.GetToken().Position
	pos := record.Pos{File: name, Line: at.Line, Column: at.Column}
	key := entry.Key.GetToken().Value
	if seen[key] {
		return &PolicyError{pos, key + " stands twice", "keep one of them"}
	}
	seen[key] = true
	setter, ok := policyKeys[key]
	if !ok {
		return &PolicyError{pos, fmt.Sprintf("unknown key %q", key), "the keys are " + policyKeyList()}
	}
	decode := func(v any) error {
		if err := yaml.NodeToValue(entry.Value, v, yaml.Strict()); err != nil {
			return fmt.Errorf("%s is no value for it", strings.TrimSpace(entry.Value.String()))
		}
		return nil
	}
	if err := setter.set(p, decode); err != nil {
		return &PolicyError{pos, key + ": " + err.Error(), setter.mend}
	}
	return nil
}

func policyKeyList() string {
	keys := make([]string, 0, len(policyKeys))
	for k := range policyKeys {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return strings.Join(keys, ", ")
}

// A policyKey takes the value of one key into a policy.
type policyKey struct {
	set  func(p *Policy, decode func(any) error) error
	mend string
}

var policyKeys = map[string]policyKey{
	// 50 V ac is the limit of extra-low voltage (IEC 61140): above it nothing is
	// dead, whatever the site thinks.
	"dead_limit": number("volts, above 0 and below 50", func(p *Policy, v float64) bool {
		p.DeadLimit = record.Volts(v)
		return v > 0 && v < 50
	}),
	"neutral_earth_limit": number("volts, from 0 (off) to 25", func(p *Policy, v float64) bool {
		p.NeutralEarthLimit = record.Volts(v)
		return v >= 0 && v <= 25
	}),
	"tolerance": number("percent, above 0 and at most 20", func(p *Policy, v float64) bool {
		p.Tolerance = v
		return v > 0 && v <= maxTolerance
	}),
	"live_source_tolerance": number("percent, above 0 and at most 20", func(p *Policy, v float64) bool {
		p.LiveSourceTolerance = v
		return v > 0 && v <= maxTolerance
	}),
	"series_gap":        span(MaxSeriesGap, func(p *Policy) *time.Duration { return &p.SeriesGap }),
	"prove_age":         span(MaxProveAge, func(p *Policy) *time.Duration { return &p.ProveAge }),
	"reprove_delay":     span(2*time.Hour, func(p *Policy) *time.Duration { return &p.ReproveDelay }),
	"interrupted_after": span(time.Hour, func(p *Policy) *time.Duration { return &p.InterruptedAfter }),
	"permission_gap":    span(24*time.Hour, func(p *Policy) *time.Duration { return &p.PermissionGap }),
	"begin_within":      span(24*time.Hour, func(p *Policy) *time.Duration { return &p.BeginWithin }),
	"reprove_retry":     choice(func(p *Policy) *bool { return &p.ReproveRetry }),
	"shared_proofs":     choice(func(p *Policy) *bool { return &p.SharedProofs }),
	"pairs": word("all or no-neutral", func(p *Policy, w string) bool {
		p.NoNeutral = w == "no-neutral"
		return p.NoNeutral || w == "all"
	}),
	"conductors_reduced": word("failure or caution", func(p *Policy, w string) bool {
		p.ConductorsReduced = record.Failure
		if w == "caution" {
			p.ConductorsReduced = record.Caution
		}
		return w == "failure" || w == "caution"
	}),
	"failures": ruleList("cautions that are to be failures", func(p *Policy, r record.Rule) error {
		p.Promote(r)
		return nil
	}),
	"off": ruleList("further rules that are not to be judged", (*Policy).TurnOff),
}

func number(what string, set func(*Policy, float64) bool) policyKey {
	return policyKey{mend: "write a number: " + what, set: func(p *Policy, decode func(any) error) error {
		var v float64
		if err := decode(&v); err != nil {
			return err
		}
		if !set(p, v) {
			return fmt.Errorf("%g is out of bounds", v)
		}
		return nil
	}}
}

func span(most time.Duration, field func(*Policy) *time.Duration) policyKey {
	bounds := fmt.Sprintf("above 0 and at most %s", minutes(most))
	return policyKey{mend: "write a time such as 20m or 1h30m: " + bounds, set: func(p *Policy, decode func(any) error) error {
		var text string
		if err := decode(&text); err != nil {
			return err
		}
		d, err := time.ParseDuration(text)
		if err != nil {
			return fmt.Errorf("%q is no time", text)
		}
		if d <= 0 || d > most {
			return fmt.Errorf("%s is out of bounds", text)
		}
		*field(p) = d
		return nil
	}}
}

func choice(field func(*Policy) *bool) policyKey {
	return policyKey{mend: "write true or false", set: func(p *Policy, decode func(any) error) error {
		return decode(field(p))
	}}
}

func word(what string, set func(*Policy, string) bool) policyKey {
	return policyKey{mend: "write " + what, set: func(p *Policy, decode func(any) error) error {
		var text string
		if err := decode(&text); err != nil {
			return err
		}
		if !set(p, text) {
			return fmt.Errorf("unknown word %q", text)
		}
		return nil
	}}
}

func ruleList(what string, add func(*Policy, record.Rule) error) policyKey {
	mend := "list the names of " + what + ", as in [too-quick]; nilvolt verify --explain all lists the rules"
	return policyKey{mend: mend, set: func(p *Policy, decode func(any) error) error {
		var names []string
		if err := decode(&names); err != nil {
			return err
		}
		var errs []error
		for _, name := range names {
			r, err := record.ParseRule(name)
			if err != nil {
				err = fmt.Errorf("no rule is called %q", name)
			} else {
				err = add(p, r)
			}
			errs = append(errs, err)
		}
		return errors.Join(errs...)
	}}
}

// minutes writes a duration of whole minutes as in "90m".
func minutes(d time.Duration) string {
	return fmt.Sprintf("%gm", d.Minutes())
}
