package verify_test

import (
	"encoding/csv"
	"fmt"
	"slices"
	"strings"

	"nilvolt/record"
)

// printed writes a call as the files that would hold it.
func printed(records []record.Record, set setting, reg record.Register) string {
	var b strings.Builder
	fmt.Fprintf(&b, "policy:\n%s", set.yaml())
	if reg != nil {
		fmt.Fprintf(&b, "register:\n%s", registerText(reg))
	}
	for i := range records {
		fmt.Fprintf(&b, "%s", recordText(&records[i]))
	}
	return b.String()
}

func registerText(reg record.Register) string {
	var b strings.Builder
	var ids []string
	for id := range reg {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	b.WriteString("instrument,kind,senses,stages,max_volts,category,tolerance,output,serviced,interval_days,withdrawn\n")
	for _, id := range ids {
		in := reg[id]
		kind := map[record.InstrumentKind]string{record.Indicator: "indicator", record.ProvingUnit: "proving-unit"}[in.Kind]
		fmt.Fprintf(&b, "%s,%s,%v,%s,%v,%v,%v,%s,%v,%v,%v\n", id, kind, in.Senses, joined(in.Stages), float64(in.MaxVolts),
			in.Category, in.Tolerance, joined(in.Outputs), in.Serviced, in.IntervalDays, in.Withdrawn)
	}
	return b.String()
}

func joined[T any](list []T) string { return strings.Trim(fmt.Sprint(list), "[]") }

// recordText writes the job rows and the readings of a record.
func recordText(rec *record.Record) string {
	var b strings.Builder
	b.WriteString("record,supply,nominal,earthing,conductors,switched,device,poles,onload,category,supply_side_live,site\n")
	for _, j := range rec.Jobs {
		fmt.Fprintf(&b, "%s,%v,%v,%v,%s,%s,%s,%v,%v,%v,%v,%s\n", rec.ID, j.Supply, float64(j.Nominal), j.Earthing,
			joined(j.Conductors), joined(j.Switched), j.Device, j.Poles, j.OnLoad, j.Category, j.SupplySideLive, j.Site)
	}
	w := csv.NewWriter(&b)
	_ = w.Write(strings.Split("file,time,event,indicator,source,from,to,volts,waveform,expected,stage,switch,seq,point,side,ambiguous,placed", ","))
	for _, e := range rec.Events {
		line := []string{
			e.Pos.String(), e.Time.String(), e.Kind.String(), e.Indicator, e.Source, e.Pair.A.String(), e.Pair.B.String(),
			e.Volts.Text, e.Waveform.String(), "", e.Stage.Text, e.Switch.String(), "", e.Point, e.Side.String(), "", "",
		}
		if e.HasExpected {
			line[9] = fmt.Sprint(float64(e.Expected))
		}
		if e.HasSeq {
			line[12] = fmt.Sprint(e.Seq)
		}
		if e.Ambiguous {
			line[15] = "ambiguous"
		}
		if e.Placed {
			line[16] = "placed"
		}
		_ = w.Write(line)
	}
	w.Flush()
	return b.String()
}
