package main

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"nilvolt/fleet"
	"nilvolt/report"
)

// A showJSON is all that is known of an instrument as JSON: what instruments list has of
// it, and more. Percentages are of the expected voltage, rates from 0 to 1; null is not
// known, or without limit.
type showJSON struct {
	instrumentJSON
	AsOf       string        `json:"as_of"`
	Error      *float64      `json:"error"`    // percent
	Expected   float64       `json:"expected"` // volts at which it is so
	Tolerance  float64       `json:"tolerance"`
	Anchored   bool          `json:"anchored"` // the error is against a verified reference, not the middle of the fleet
	Steps      stepsJSON     `json:"steps"`
	Retried    int           `json:"retried"`
	Unreadable int           `json:"unreadable"`
	OnLive     int           `json:"on_live"`
	Unknown    int           `json:"unknown"`
	Rate       rateJSON      `json:"rate"`
	Faults     []wholeFault  `json:"faults"`
	Rivals     []string      `json:"rivals"`
	Likely     string        `json:"likely"`
	NotAfter   string        `json:"not_after"`
	Services   []string      `json:"services"`
	Dues       []reasonJSON  `json:"dues"`
	Charts     *chartsJSON   `json:"charts"`
	Partners   []partnerJSON `json:"partners"`
	NotKnown   []string      `json:"not_known"`
	Advice     []string      `json:"advice"`
}

type stepsJSON struct {
	Proofs int      `json:"proofs"`
	Low    *float64 `json:"low"`
	High   *float64 `json:"high"`
}

type rateJSON struct {
	Tried     int      `json:"tried"`
	Failed    int      `json:"failed"`
	Low       float64  `json:"low"` // Wilson, 95 %
	High      float64  `json:"high"`
	ExactLow  float64  `json:"exact_low"`
	ExactHigh float64  `json:"exact_high"`
	Shrunk    *float64 `json:"shrunk"`
	Usual     float64  `json:"usual"`
	TooOften  bool     `json:"too_often"`
}

type wholeFault struct {
	faultJSON
	Earliest string  `json:"earliest"`
	Latest   string  `json:"latest"`
	Error    float64 `json:"error"` // standard error of the size
	Margin   float64 `json:"margin"`
	Rival    string  `json:"rival"`
	Clear    bool    `json:"clear"`
}

type chartsJSON struct {
	Readings  int     `json:"readings"`
	Target    float64 `json:"target"`
	Sigma     float64 `json:"sigma"`
	ValuesOut int     `json:"values_out"`
	RangesOut int     `json:"ranges_out"`
	EWMAOut   bool    `json:"ewma_out"`
	CUSUMOut  bool    `json:"cusum_out"`
}

type partnerJSON struct {
	Instrument string  `json:"instrument"`
	Proofs     int     `json:"proofs"`
	First      string  `json:"first"`
	Last       string  `json:"last"`
	Percent    float64 `json:"percent"` // median of the instrument's own part
}

// finite returns a number that JSON can have, nil for others.
func finite(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	v = roundTo(v, 6)
	return &v
}

// showOf returns an instrument as JSON has it.
func showOf(a *assessed, one *fleet.Assessment) showJSON {
	n, r := &one.Count, &one.Rate
	s := showJSON{
		instrumentJSON: instrumentOf(one), AsOf: a.day.String(), Expected: one.Expected, Tolerance: one.Tolerance,
		Anchored: one.Part >= 0 && a.Parts[one.Part].Anchored,
		Steps:    stepsJSON{one.Steps, finite(one.StepLow), finite(one.StepHigh)},
		Retried:  n.Retried, Unreadable: n.Unreadable, OnLive: n.OnLive, Unknown: n.Unknown,
		Rate: rateJSON{
			r.Tried, r.Failed, roundTo(r.Low, 6), roundTo(r.High, 6), roundTo(r.ExactLow, 6), roundTo(r.ExactHigh, 6),
			nil, roundTo(a.UsualRate, 6), r.TooOften,
		},
		Faults: []wholeFault{}, Rivals: append([]string{}, one.Rivals...), Likely: dayOf(one.Likely), NotAfter: dayOf(one.NotAfter),
		Services: []string{}, Dues: []reasonJSON{}, Partners: partnersOf(a, one),
		NotKnown: append([]string{}, report.UnknownWords(one)...), Advice: report.InstrumentAdvice(one),
	}
	if one.Measured {
		s.Error = finite(one.Error)
	}
	if r.Shrunk > 0 {
		s.Rate.Shrunk = finite(r.Shrunk)
	}
	for i := range one.Faults {
		d := &one.Faults[i]
		s.Faults = append(s.Faults, wholeFault{
			*faultOf(d), d.BeganEarliest.String(), d.BeganLatest.String(), roundTo(d.Error, 6),
			roundTo(d.Margin, 3), d.Rival, d.Clear,
		})
	}
	for _, d := range a.services[one.Instrument] {
		s.Services = append(s.Services, d.String())
	}
	for _, d := range one.Dues {
		s.Dues = append(s.Dues, reasonJSON{d.Reason.String(), d.Date.String()})
	}
	if c := a.Charts(one); len(c.Values) > 0 {
		last := len(c.EWMA) - 1
		s.Charts = &chartsJSON{len(c.Values), roundTo(c.Target, 6), roundTo(c.Sigma, 6), countOut(c.Values), countOut(c.Ranges), c.EWMA[last].Out, c.CUSUM[last].Out}
	}
	return s
}

// partnersOf returns with whom an instrument was proved, those with most proofs first.
func partnersOf(a *assessed, one *fleet.Assessment) []partnerJSON {
	own := map[string][]float64{}
	list := []partnerJSON{}
	for _, r := range a.Readings(one) {
		at := slices.IndexFunc(list, func(p partnerJSON) bool { return p.Instrument == r.Partner })
		if at < 0 {
			at = len(list)
			list = append(list, partnerJSON{Instrument: r.Partner, First: dayOf(r.Time)})
		}
		list[at].Proofs++
		list[at].Last = dayOf(r.Time)
		own[r.Partner] = append(own[r.Partner], r.Own)
	}
	for i := range list {
		list[i].Percent = roundTo(fleet.Median(own[list[i].Instrument]), 3)
	}
	slices.SortFunc(list, func(a, b partnerJSON) int {
		return cmp.Or(cmp.Compare(b.Proofs, a.Proofs), strings.Compare(a.Instrument, b.Instrument))
	})
	return list
}

// printReadingsCSV prints the readings of an instrument.
func printReadingsCSV(c *console, a *assessed, one *fleet.Assessment) {
	out := []byte("time,partner,expected,percent,own,gross,before_service\r\n")
	number := func(v float64) string { return strconv.FormatFloat(roundTo(v, 6), 'f', -1, 64) }
	for _, r := range a.Readings(one) {
		out = appendCSVRow(out, []string{
			r.Time.String(), r.Partner, number(r.Expected), number(r.Percent), number(r.Own), strconv.FormatBool(r.Spike), strconv.FormatBool(r.Before),
		})
	}
	c.out.Write(out)
}
