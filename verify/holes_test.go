package verify_test

import (
	"testing"
	"time"

	"nilvolt/record"
)

// Records that passed once, or might have, and must not. Each was found by the
// oracle or a property, and is kept here small.
func TestHoles(t *testing.T) {
	lighting := socket
	lighting.Switched = []record.Conductor{must(record.ParseConductor("SL1"))}
	noDevice := record.Job{Supply: record.ThreePhase, Nominal: 400, Conductors: []record.Conductor{record.L1, record.L2, record.L3, record.PEN}}
	const proved = `
		08:02 prove   VI-1 PU-1 230/230
		08:03 test    VI-1 N-L 0.3
		08:04 test    VI-1 E-L 0.1
		08:05 test    VI-1 E-N 0
		08:06 reprove VI-1 PU-1 230/230`
	for _, c := range []told{
		{
			"work began before a conductor was found live", socket, `
			07:00 begin
			07:30 test VI-1 N-L 231` + proved,
			record.NonCompliant, "began-early", "live-unexplained",
		},
		{
			"a restore of perhaps another record hides a live reading", socket, proved + `
			08:07 restore several
			08:08 test VI-1 N-L 231`,
			record.LiveFound, "live-found pair-missing", "",
		},
		{
			"an unreadable reading in a position nobody asks for", lighting, `
			08:02 prove   VI-1 PU-1 230/230
			08:03 test    VI-1 N-L 0.3
			08:03 test    VI-1 E-L 0.1
			08:03 test    VI-1 E-N 0
			08:04 test    VI-1 N-SL1 0 @on
			08:04 test    VI-1 E-SL1 0 @on
			08:05 test    VI-1 N-SL1 0 @off
			08:05 test    VI-1 E-SL1 0 @off
			08:05 test    VI-1 E-SL1 --- @a
			08:06 reprove VI-1 PU-1 230/230`,
			record.NonCompliant, "reading-unreadable", "",
		},
		{
			"residual without a position behind one with a position", socket, `
			08:02 prove   VI-1 PU-1 230/230
			08:03 test    VI-1 N-L 0.3
			08:03 test    VI-1 E-L 0.1
			08:03 test    VI-1 E-N 0
			08:04 test    VI-1 L-X9 30 @on
			08:04 test    VI-1 L-X9 30
			08:05 test    VI-1 L-X9 0 @on
			08:06 reprove VI-1 PU-1 230/230
			08:07 test    VI-1 L-X9 30`,
			record.NonCompliant, "residual-voltage", "",
		},
		{
			"a conductors list with PEN and no earthing stated: tests on E are tests on PEN", noDevice, `
			08:02 prove   VI-1 PU-1 230/230
			08:03 test    VI-1 L1-L2 0
			08:03 test    VI-1 L1-L3 0
			08:03 test    VI-1 L2-L3 0
			08:03 test    VI-1 E-L1 0
			08:03 test    VI-1 E-L2 0
			08:03 test    VI-1 E-L3 0
			08:06 reprove VI-1 PU-1 230/230`,
			record.NonCompliant, "conductors-reduced", "",
		},
		{
			"a proof of another file at the time of the reading", socket, `
			08:02 prove   VI-1 PU-1 230/230
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:05 reprove VI-1 PU-1 230/230 file=log`,
			record.NonCompliant, "reprove-missing", "",
		},
		{
			"live at the time of the last dead test, in another file", socket, proved + `
			08:05 test    VI-1 N-L 231 file=log`,
			record.LiveFound, "live-found pair-missing", "",
		},
		{
			"a dead reading that may belong to another record", socket, `
			08:02 prove   VI-1 PU-1 230/230
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1 several
			08:05 test    VI-1 E-N 0
			08:06 reprove VI-1 PU-1 230/230`,
			record.NonCompliant, "pair-missing", "",
		},
		{
			"the supply side live, of which the job sheet says nothing", socket, `
			08:02 prove   VI-1 PU-1 230/230
			08:02 test    VI-1 N-L 231 supply
			08:03 test    VI-1 N-L 0.3 load
			08:04 test    VI-1 E-L 0.1 load
			08:05 test    VI-1 E-N 0 load
			08:06 reprove VI-1 PU-1 230/230`,
			record.Compliant, "", "live-parts-remain",
		},
		{
			"an old proof kept young by proofs on 30 V", socket, `
			08:00 prove   VI-1 PU-1 230/230
			08:05 prove   VI-1 PU-2 30/30
			08:10 prove   VI-1 PU-2 30/30
			08:15 prove   VI-1 PU-2 30/30
			09:02 test    VI-1 N-L 0.3
			09:02 test    VI-1 E-L 0.1
			09:02 test    VI-1 E-N 0
			09:03 reprove VI-1 PU-1 230/230`,
			record.NonCompliant, "prove-stale", "",
		},
		{
			"the power back and a live reading at one time, in two files", socket, proved + `
			08:30 restore
			08:30 test VI-1 E-L 230 file=b`,
			record.LiveFound, "live-found pair-missing", "",
		},
		{
			"a list without a way back for the current, and no supply",
			record.Job{Conductors: []record.Conductor{record.L, record.E}},
			`
			08:02 prove   VI-1 PU-1 230/230
			08:04 test    VI-1 E-L 0.1
			08:06 reprove VI-1 PU-1 230/230`,
			record.NonCompliant, "supply-unknown", "",
		},
		{
			"tested on dc after a proof on dc, the waveform blank", socket, `
			08:02 prove   VI-1 PU-1 230/230 dc
			08:03 test    VI-1 N-L 0.3 blank
			08:04 test    VI-1 E-L 0.1 blank
			08:05 test    VI-1 E-N 0 blank
			08:06 reprove VI-1 PU-1 230/230 dc`,
			record.NonCompliant, "wrong-waveform", "",
		},
	} {
		c.run(t, usual(), nil)
	}
}

// A pair that is left out by policy and yet read live must be shown dead.
func TestHoleNoNeutral(t *testing.T) {
	set := usual()
	set.noNeutral = true
	c := told{"the pair N-E read residual and no more", socket, `
		08:02 prove   VI-1 PU-1 230/230
		08:04 test    VI-1 E-L 0.1
		08:05 test    VI-1 E-N 40
		08:06 reprove VI-1 PU-1 230/230`, record.NonCompliant, "residual-voltage", "policy-loosened"}
	c.run(t, set, nil)
}

// A series_gap below the default lets a reprove that fails at once stand alone,
// out of sight: whoever asks for it is told.
func TestHoleSeriesGap(t *testing.T) {
	rows := `
		08:02 prove   VI-1 PU-1 230/230
		08:03 test    VI-1 N-L 0.3
		08:04 test    VI-1 E-L 0.1
		08:05 test    VI-1 E-N 0
		08:06 reprove VI-1 PU-1 230/230
		08:07 reprove VI-1 PU-1 0/230`
	c := told{"by default it fails", socket, rows, record.NonCompliant, "reprove-failed", ""}
	c.run(t, usual(), nil)
	set := usual()
	set.seriesGap = time.Second
	c = told{"a gap of a second is loose", socket, rows, record.Compliant, "", "policy-loosened"}
	c.run(t, set, nil)
}

// An indicator that the register calls a proving unit is judged by its dates too.
func TestHoleWithdrawn(t *testing.T) {
	reg := record.Register{
		"PU-1": {ID: "PU-1", Kind: record.ProvingUnit},
		"VI-1": {ID: "VI-1", Kind: record.ProvingUnit, Withdrawn: must(record.ParseDate("2026-03-31"))},
	}
	c := told{"withdrawn that day", socket, `
		08:02 prove   VI-1 PU-1 230/230
		08:03 test    VI-1 N-L 0.3
		08:04 test    VI-1 E-L 0.1
		08:05 test    VI-1 E-N 0
		08:06 reprove VI-1 PU-1 230/230`, record.NonCompliant, "instrument-withdrawn", "instrument-unknown"}
	c.run(t, usual(), reg)
}

// An id in another case than the register's names the same instrument.
func TestHoleCase(t *testing.T) {
	reg := record.Register{
		"PU-1": {ID: "PU-1", Kind: record.ProvingUnit},
		"vi-1": {ID: "vi-1", Kind: record.Indicator, Stages: []record.Volts{50, 120, 230, 400}, Withdrawn: must(record.ParseDate("2026-03-31"))},
	}
	c := told{"withdrawn, and without a step that shows dead", socket, `
		08:02 prove   VI-1 PU-1 -/230 stage=230
		08:03 test    VI-1 N-L - stage=none
		08:04 test    VI-1 E-L - stage=none
		08:05 test    VI-1 E-N - stage=none
		08:06 reprove VI-1 PU-1 -/230 stage=230`, record.NonCompliant, "cannot-show-dead instrument-withdrawn", ""}
	c.run(t, usual(), reg)
}

// An indicator that fails its proof on another job, between the two proofs of
// this one, is believed on neither.
func TestHoleElsewhere(t *testing.T) {
	const good = `
		08:02 prove   VI-1 PU-1 230/230
		08:03 test    VI-1 N-L 0.3
		08:04 test    VI-1 E-L 0.1
		08:05 test    VI-1 E-N 0
		08:20 reprove VI-1 PU-1 230/230`
	for _, c := range []struct{ other, want string }{
		{"08:10 prove VI-1 PU-1 0/230", "proof-failed-elsewhere"},
		{"08:20 prove VI-1 PU-1 0/230", "proof-failed-elsewhere"},
		{"08:02 prove VI-1 PU-1 OL/230", "proof-failed-elsewhere"},
		{"08:01:59 prove VI-1 PU-1 0/230", ""},
		{"08:20:01 prove VI-1 PU-1 0/230", ""},
		{"08:10 prove VI-1 PU-1 230/230", ""},
		{"08:10 prove VI-2 PU-1 0/230", ""},
		{"08:09 test VI-1 N-L 0\n08:10 prove VI-1 PU-1 0/230\n08:11 prove VI-1 PU-1 230/230", "proof-failed-elsewhere"},
	} {
		records := []record.Record{worked(t, "R1", socket, good), worked(t, "R2", socket, c.other)}
		v := judged(t, records, usual(), nil)[0]
		status := record.Compliant
		if c.want != "" {
			status = record.NonCompliant
		}
		told := told{status: status, failures: c.want}
		told.check(t, v)
	}
}
