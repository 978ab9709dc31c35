package verify_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"nilvolt/record"
	"nilvolt/verify"
)

// The judge against what stands outside of this project: standards, handbook
// tables and the arithmetic behind them, each with its source.

// pairsOf returns the pairs that the judge requires of a job.
func pairsOf(t *testing.T, job record.Job, set setting) []string {
	t.Helper()
	policy, err := verify.ParsePolicy("policy.yaml", []byte(set.yaml()))
	if err != nil {
		t.Fatal(err)
	}
	rec := record.Record{ID: "R1", Jobs: []record.Job{job}}
	var pairs []string
	for _, p := range verify.NewJudge(policy, nil, nil).Judge(&rec).Pairs() {
		pairs = append(pairs, p.Tested.String())
	}
	return pairs
}

// n conductors, earth counted, make n(n-1)/2 pairs. Single-phase 3 and
// three-phase with neutral 10: common practice, and read; the others computed.
// Texts of the United States name line-line and line-ground pairs only
// (NFPA 70E-2021, 120.5(7)): the policy no-neutral.
func TestPairCounts(t *testing.T) {
	for _, c := range []struct {
		supply                  record.Supply
		earthing                record.Earthing
		conductors, all, noNeut int
	}{
		{record.SinglePhase, record.TNS, 3, 3, 1},
		{record.ThreePhase, record.TNS, 5, 10, 6},
		{record.ThreePhase3Wire, record.IT, 4, 6, 6},
		{record.SplitPhase, record.TNCS, 4, 6, 3},
		{record.DC, record.TNS, 3, 3, 3},
		{record.DC3Wire, record.TNS, 4, 6, 3},
		{record.SinglePhase, record.TNC, 2, 1, 1},
		{record.ThreePhase, record.TNC, 4, 6, 6},
		{record.SplitPhase, record.TNC, 3, 3, 3},
	} {
		if n := c.conductors; n*(n-1)/2 != c.all {
			t.Errorf("%d conductors do not make %d pairs", n, c.all)
		}
		us := usual()
		us.noNeutral = true
		job := supplyOf(c.supply, 0, c.earthing)
		if all, us := pairsOf(t, job, usual()), pairsOf(t, job, us); len(all) != c.all || len(us) != c.noNeut {
			t.Errorf("%v %v: %v, without neutral %v; want %d, %d", c.supply, c.earthing, all, us, c.all, c.noNeut)
		}
	}
}

// The pairs are written in the order of the conductors, switched lines first. A
// lighting circuit is tested with its switch operated too (common practice).
func TestPairsWritten(t *testing.T) {
	sl1, sl2 := must(record.ParseConductor("SL1")), must(record.ParseConductor("SL2"))
	lighting := supplyOf(record.SinglePhase, 230, record.TNS)
	lighting.Switched = []record.Conductor{sl1, sl2}
	own := record.Job{Conductors: []record.Conductor{record.L2, record.L1, record.PEN}}
	for _, c := range []struct {
		job  record.Job
		want string
	}{
		{supplyOf(record.SinglePhase, 0, record.TNS), "L-N L-E N-E"},
		{supplyOf(record.DC3Wire, 0, record.TNS), "L+-M L+-L- L+-E M-L- M-E L--E"},
		{supplyOf(record.ThreePhase, 0, record.TNC), "L1-L2 L1-L3 L1-PEN L2-L3 L2-PEN L3-PEN"},
		{lighting, "SL1-N@on SL1-N@off SL1-E@on SL1-E@off SL2-N@on SL2-N@off SL2-E@on SL2-E@off L-N L-E N-E"},
		{own, "L2-L1 L2-PEN L1-PEN"},
	} {
		if got := strings.Join(pairsOf(t, c.job, usual()), " "); got != c.want {
			t.Errorf("%v: %s, want %s", c.job.Supply, got, c.want)
		}
	}
}

// verdictOn judges a reading between line and earth of a record that is in order
// else.
func verdictOn(t *testing.T, supply record.Supply, reading string, reg record.Register) verdict {
	t.Helper()
	line, other, wave := "L", "N", "ac"
	if supply == record.DC {
		line, other, wave = "L+", "L-", "dc"
	}
	rows := fmt.Sprintf(`
		08:00 prove VI-1 PU-1 -/230 %[4]s stage=230
		08:01 test VI-1 %[1]s:%[2]s 0 %[4]s
		08:02 test VI-1 E:%[1]s %[3]s %[4]s
		08:03 test VI-1 E:%[2]s 0 %[4]s
		08:04 reprove VI-1 PU-1 -/230 %[4]s stage=230`, line, other, reading, wave)
	rec := worked(t, "R1", supplyOf(supply, 230, record.TNS), rows)
	return judged(t, []record.Record{rec}, usual(), reg)[0]
}

// says returns the one word for what a record with one doubtful reading is.
func says(v verdict) string {
	for _, r := range []record.Rule{record.LiveFoundRule, record.ResidualVoltage, record.ReadingUnreadable, record.CannotShowDead} {
		if v.has(r) {
			return r.String()
		}
	}
	return v.status.String()
}

// Extra-low voltage is not over 50 V ac rms or 120 V ripple-free dc. Source:
// IEC 61140; IEC 60364-4-41, clause 414; IEV, from IEC 61558-1. SCPI-1999:
// 9.9E37 is overflow and 9.91E37 not a number, never volts. That 12 V and less is
// dead is a policy of this program.
func TestExtraLowVoltage(t *testing.T) {
	for _, c := range []struct {
		supply        record.Supply
		reading, want string
	}{
		{record.SinglePhase, "12", "compliant"},
		{record.SinglePhase, "12.1", "residual-voltage"},
		{record.SinglePhase, "49.9", "residual-voltage"},
		{record.SinglePhase, "50", "live-found"},
		{record.SinglePhase, "-50", "live-found"},
		{record.DC, "50", "residual-voltage"},
		{record.DC, "119.9", "residual-voltage"},
		{record.DC, "120", "live-found"},
		{record.DC, "-120", "live-found"},
		{record.SinglePhase, "9.9E37", "live-found"},
		{record.SinglePhase, "-9.9E37", "live-found"},
		{record.SinglePhase, "9.91E37", "reading-unreadable"},
		{record.SinglePhase, "OL", "live-found"},
		{record.SinglePhase, ">600", "live-found"},
		{record.SinglePhase, "---", "reading-unreadable"},
		{record.SinglePhase, "-", "reading-unreadable"},
	} {
		if got := says(verdictOn(t, c.supply, c.reading, nil)); got != c.want {
			t.Errorf("%v %s V: %s, want %s", c.supply, c.reading, got, c.want)
		}
	}
}

// IEC 61243-3 detectors must show a voltage at the limit of extra-low voltage
// (from memory): without a lower step no indication says only "below about 50 V".
// A shown step means at least that step (common practice).
func TestNoIndication(t *testing.T) {
	coarse := record.Register{"VI-1": {ID: "VI-1", Kind: record.Indicator, Stages: []record.Volts{50, 120, 230, 400, 690}}}
	fine := record.Register{"VI-1": {ID: "VI-1", Kind: record.Indicator, Stages: []record.Volts{12, 24, 50, 120, 230, 400, 690}}}
	for _, c := range []struct {
		reading string
		reg     record.Register
		want    string
	}{
		{"- stage=none", coarse, "cannot-show-dead"},
		{"0 stage=none", coarse, "cannot-show-dead"},
		{"- stage=none", fine, "compliant"},
		{"- stage=none", nil, "compliant"},
		{"- stage=12", fine, "residual-voltage"},
		{"- stage=24", fine, "residual-voltage"},
		{"- stage=50", fine, "live-found"},
		{"0 stage=50", fine, "live-found"},
		{"- stage=24", coarse, "reading-unreadable"},
		{"- stage=50", coarse, "live-found"},
	} {
		if got := says(verdictOn(t, record.SinglePhase, c.reading, c.reg)); got != c.want {
			t.Errorf("%s: %s, want %s", c.reading, got, c.want)
		}
	}
}

// What an open conductor picks up through 1 nF from 230 V, 50 Hz, by the input
// impedance of the indicator: the impedances in series, in quadrature. Computed;
// no reading of it is taken for dead unless the indicator loads the conductor.
func TestCapacitivePickUp(t *testing.T) {
	reactance := 1 / (2 * math.Pi * 50 * 1e-9)
	if math.Abs(reactance-3.18e6) > 0.01e6 {
		t.Errorf("1 nF at 50 Hz is %g ohm, want 3.18 Mohm", reactance)
	}
	for _, c := range []struct {
		ohms, volts float64
		want        string
	}{
		{10e6, 219, "live-found"},
		{1e6, 69, "live-found"},
		{300e3, 21.6, "residual-voltage"},
		{100e3, 7.2, "compliant"},
		{5e3, 0.36, "compliant"},
	} {
		volts := 230 * c.ohms / math.Hypot(c.ohms, reactance)
		if math.Abs(volts-c.volts) > 0.005*c.volts {
			t.Errorf("%g ohm read %.3g V, want %g", c.ohms, volts, c.volts)
		}
		if got := says(verdictOn(t, record.SinglePhase, fmt.Sprintf("%.2f", volts), nil)); got != c.want {
			t.Errorf("%.2f V on %g ohm: %s, want %s", volts, c.ohms, got, c.want)
		}
	}
}

// The voltage between lines is sqrt 3 times that from line to neutral: 230 V
// gives 398.4 V and 277 V 479.8 V (computed), which IEC 60038 rounds to 230/400
// and 277/480. Proved on the lower one, the pairs between lines were not proved
// at their voltage; those with neutral or earth were.
func TestLineToLine(t *testing.T) {
	for _, c := range []struct{ toNeutral, between, nominal float64 }{{230, 398.4, 400}, {277, 479.8, 480}} {
		if got := c.toNeutral * math.Sqrt(3); math.Abs(got-c.between) > 0.05 {
			t.Errorf("%g V x sqrt 3 is %.1f V, want %g", c.toNeutral, got, c.between)
		}
		proof := fmt.Sprintf("VI-1 live %g/%g", c.toNeutral, c.toNeutral)
		rows := "08:00 prove " + proof
		for _, p := range []string{"L1-L2", "L1-L3", "N-L1", "E-L1", "L2-L3", "N-L2", "E-L2", "N-L3", "E-L3", "E-N"} {
			rows += "\n08:01 test VI-1 " + p + " 0"
		}
		rows += "\n08:02 reprove " + proof
		rec := worked(t, "R1", supplyOf(record.ThreePhase, record.Volts(c.nominal), record.TNS), rows)
		v := judged(t, []record.Record{rec}, usual(), nil)[0]
		var pairs []string
		for _, f := range v.findings {
			if f.rule == record.ProofBelowNominal {
				pairs = f.pairs
			}
		}
		if want := []string{"L1-L2", "L1-L3", "L2-L3"}; v.status != record.Compliant || !slices.Equal(pairs, want) {
			t.Errorf("%g V: %v below nominal, want %v; %v", c.nominal, pairs, want, v.lines())
		}
	}
}

// A live source of which only the supply is known may show any of its nominal
// voltages: 230 and 400 V of IEC 60038's 230/400. EN 50160 allows 10 % beside it.
func TestLiveSource(t *testing.T) {
	for _, c := range []struct {
		supply  record.Supply
		nominal record.Volts
		shown   string
		passes  bool
	}{
		{record.ThreePhase, 400, "230", true},
		{record.ThreePhase, 400, "400", true},
		{record.ThreePhase, 400, "253", true},
		{record.ThreePhase, 400, "300", false},
		{record.ThreePhase3Wire, 400, "230", false},
		{record.SplitPhase, 240, "120", true},
		{record.SplitPhase, 240, "139", false},
		{record.SinglePhase, 230, "216.2", true},
		{record.SinglePhase, 230, "133", false},
		{record.DC3Wire, 220, "110", true},
	} {
		rows := "08:00 prove VI-1 live " + c.shown + "/-"
		job := supplyOf(c.supply, c.nominal, record.TNS)
		rec := worked(t, "R1", job, rows)
		waveform := record.AC
		if c.supply.IsDC() {
			waveform = record.DirectVoltage
		}
		q := &inquiry{job: job}
		for _, s := range q.pairsOf(&job) {
			e := rec.Events[0] // its time and file
			e.Kind, e.Pair, e.Volts, e.Waveform, e.Pos.Line = record.Test, s.pair, shown(0), waveform, e.Pos.Line+1
			rec.Events = append(rec.Events, e)
		}
		v := judged(t, []record.Record{rec}, usual(), nil)[0]
		if got := !v.has(record.ProveFailed); got != c.passes {
			t.Errorf("%v %v on a live source, %s V shown: passes %v, want %v", c.supply, c.nominal, c.shown, got, c.passes)
		}
	}
}

// Voltage detectors for low voltage are made for up to 1000 V ac and 1500 V dc.
// Source: IEC 61243-3, scope. Without a register too, no indicator fits above that.
func TestVoltagesOfDetectors(t *testing.T) {
	for _, c := range []struct {
		supply   record.Supply
		nominal  record.Volts
		failures string
	}{
		{record.SinglePhase, 1000, ""},
		{record.SinglePhase, 1001, "instrument-underrated"},
		{record.SinglePhase, 24_000, "instrument-underrated"},
		{record.DC, 1500, ""},
		{record.DC, 1501, "instrument-underrated"},
	} {
		pairs, wave, status := "L-N L-E N-E", "ac", record.Compliant
		if c.supply == record.DC {
			pairs, wave = "L+-L- L+-E L--E", "dc"
		}
		if c.failures != "" {
			status = record.NonCompliant
		}
		rows := fmt.Sprintf("08:00 prove VI-1 PU-1 %[1]v/%[1]v %[2]s\n", float64(c.nominal), wave)
		for i, pair := range strings.Fields(pairs) {
			rows += fmt.Sprintf("08:0%d test VI-1 %s 0.4 %s\n", i+1, pair, wave)
		}
		rows += fmt.Sprintf("08:05 reprove VI-1 PU-1 %[1]v/%[1]v %[2]s\n", float64(c.nominal), wave)
		w := told{name: fmt.Sprint(c.supply, c.nominal), job: supplyOf(c.supply, c.nominal, record.TNS), rows: rows, status: status, failures: c.failures}
		w.run(t, usual(), nil)
	}
}
