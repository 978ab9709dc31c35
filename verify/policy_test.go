package verify

import (
	"strings"
	"testing"
	"time"

	"nilvolt/record"
)

func TestParsePolicy(t *testing.T) {
	p, err := ParsePolicy("site.yaml", []byte(`# our site
dead_limit: 6
prove_age: 1h30m
reprove_retry: true
pairs: no-neutral
failures: [not-recorded, too-quick]
off: [probe-order]
`))
	if err != nil {
		t.Fatal(err)
	}
	if p.DeadLimit != 6 || p.ProveAge != 90*time.Minute || !p.ReproveRetry || !p.NoNeutral || p.Tolerance != 10 {
		t.Errorf("%+v", p)
	}
	if p.severity(record.TooQuick, record.Caution) != record.Failure || p.severity(record.ReadingChanged, record.Caution) != record.Caution {
		t.Error("promotion")
	}
	want := "prove_age: 90m; reprove_retry: true; pairs: no-neutral; off: probe-order"
	if got := strings.Join(p.Loosened(), "; "); got != want {
		t.Errorf("loosened: %s\nwant:     %s", got, want)
	}
	for _, empty := range []string{"", "# nothing\n", "---\n"} {
		if p, err := ParsePolicy("p", []byte(empty)); err != nil || len(p.Loosened()) != 0 {
			t.Errorf("%q: %v", empty, err)
		}
	}
	if len(DefaultPolicy().Loosened()) != 0 {
		t.Error("the default is looser than itself")
	}
}

func TestParsePolicyErrors(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"dead_limt: 6\n", `p.yaml:1:1: unknown key "dead_limt"`},
		{"tolerance: 5\ndead_limit: 50\n", "p.yaml:2:1: dead_limit: 50 is out of bounds"},
		{"dead_limit: 0\n", "p.yaml:1:1: dead_limit: 0 is out of bounds"},
		{"dead_limit: .nan\n", "p.yaml:1:1: dead_limit: NaN is out of bounds"},
		{"neutral_earth_limit: 25.1\n", "p.yaml:1:1: neutral_earth_limit: 25.1 is out of bounds"},
		{"tolerance: 20.5\n", "p.yaml:1:1: tolerance: 20.5 is out of bounds"},
		{"live_source_tolerance: -1\n", "p.yaml:1:1: live_source_tolerance: -1 is out of bounds"},
		{"series_gap: 31m\n", "p.yaml:1:1: series_gap: 31m is out of bounds"},
		{"prove_age: 12h1s\n", "p.yaml:1:1: prove_age: 12h1s is out of bounds"},
		{"reprove_delay: 0s\n", "p.yaml:1:1: reprove_delay: 0s is out of bounds"},
		{"reprove_delay: 30\n", `p.yaml:1:1: reprove_delay: "30" is no time`},
		{"pairs: some\n", `p.yaml:1:1: pairs: unknown word "some"`},
		{"shared_proofs: perhaps\n", "p.yaml:1:1: shared_proofs: perhaps is no value for it"},
		{"off: [prove-missing]\n", "p.yaml:1:1: off: prove-missing is a core rule and cannot be turned off"},
		{"off: [policy-loosened]\n", "p.yaml:1:1: off: policy-loosened cannot be turned off"},
		{"failures: [no-such]\n", `p.yaml:1:1: failures: no rule is called "no-such"`},
		{"dead_limit: 5\ndead_limit: 6\n", "dead_limit"},
		{"dead_limit: 5\n---\ndead_limit: 45\n", "p.yaml:3:1: dead_limit stands twice"},
		{"- a\n- b\n", "p.yaml:1: a policy is a list of keys with values"},
		{"dead_limit: [\n", "p.yaml:"},
		{"dead_limit: six\n", "p.yaml:1:1: dead_limit: six is no value for it"},
	} {
		p, err := ParsePolicy("p.yaml", []byte(c.text))
		if err == nil || p != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: got %v, want %s", c.text, err, c.want)
		}
	}
	_, err := ParsePolicy("p.yaml", []byte("tolerance: 99\nfoo: 1\ndead_limit: 60\n"))
	if n := strings.Count(err.Error(), "p.yaml:"); n != 3 {
		t.Errorf("%d of 3 mistakes reported: %v", n, err)
	}
}

// FuzzPolicy: whatever the file says, a policy that is taken stays within the
// bounds of extra-low voltage and judges the core rules.
func FuzzPolicy(f *testing.F) {
	f.Add([]byte("dead_limit: 6\nprove_age: 20m\noff: [too-quick]\n"))
	f.Add([]byte("{dead_limit: 1e1, pairs: all}"))
	f.Add([]byte("a: &x 1\nb: *x\n"))
	f.Add([]byte("dead_limit: !!float 12\n---\ntolerance: 1\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := ParsePolicy("p.yaml", data)
		if err != nil {
			return
		}
		if !(p.DeadLimit > 0 && p.DeadLimit < elvAC) || !(p.Tolerance > 0 && p.Tolerance <= maxTolerance) ||
			!(p.LiveSourceTolerance > 0 && p.LiveSourceTolerance <= maxTolerance) || !(p.NeutralEarthLimit >= 0 && p.NeutralEarthLimit <= 25) ||
			p.SeriesGap <= 0 || p.SeriesGap > 30*time.Minute || p.ProveAge <= 0 || p.ProveAge > 12*time.Hour ||
			p.ReproveDelay <= 0 || p.ReproveDelay > 2*time.Hour {
			t.Fatalf("out of bounds: %+v", p)
		}
		for r := range record.NumRules {
			if p.off[r] && (r.IsCore() || r == record.PolicyLoosened) {
				t.Fatalf("%v is off", r)
			}
		}
	})
}
