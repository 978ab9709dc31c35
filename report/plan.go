package report

import (
	"fmt"
	"strings"
	"time"

	"nilvolt/fleet"
	"nilvolt/record"
)

// A Service is a visit of an instrument at the bench.
type Service struct {
	Instrument string
	Kind       string    // indicator or proving unit
	Week       time.Time // the Monday of the week in which it is planned; zero where it finds no place
	Due        time.Time // the last day on which it may be used before; zero where nothing says when
	Why        []string  // what makes it due, in words
	Late       bool      // it is due before that week, or has been due already
}

// A Plan is the service plan as the bench sees it.
type Plan struct {
	Stand    Stand
	AsOf     time.Time // what was known up to here
	Begin    time.Time // the Monday with which it begins
	Weeks    int
	Capacity string    // what the bench can do, in words
	Services []Service // by week, then by date of service
	Left     []Service // due within the plan, and find no place
}

// PlanOf returns a service plan as the bench sees it.
func PlanOf(f *fleet.Fleet, p fleet.ServicePlan, stand Stand) *Plan {
	out := &Plan{
		Stand: stand, AsOf: dateTime(f.AsOf.Date()), Begin: dateTime(p.Begin), Weeks: p.Shop.Weeks,
		Capacity: fmt.Sprintf("%s at the bench in a week; %s and %s stay on the shelf", counted(p.Shop.Capacity, "place"),
			counted(p.Shop.Reserve[record.Indicator], "working indicator"), counted(p.Shop.Reserve[record.ProvingUnit], "working unit")),
	}
	for _, s := range p.Services {
		out.Services = append(out.Services, serviceOf(f, &s))
	}
	for _, s := range p.Left {
		out.Left = append(out.Left, serviceOf(f, &s))
	}
	return out
}

// serviceOf returns a visit with what makes it due, and how the instrument stands where
// something is wrong with it.
func serviceOf(f *fleet.Fleet, s *fleet.Service) Service {
	out := Service{
		Instrument: s.Instrument, Kind: InstrumentKind(s.Kind), Week: dateTime(s.From), Due: dateTime(s.Due().Date), Late: s.Late,
	}
	switch s.State {
	case fleet.StateSteady, fleet.StateOverdue: // the dates say it
	case fleet.StateCannotTell, fleet.StateWatch, fleet.StateDrifting, fleet.StateStepped, fleet.StateFailing, fleet.StateWithdrawn:
		out.Why = append(out.Why, InstrumentState(s.State)+": "+InstrumentSummary(f, s.Assessment))
	}
	for _, d := range s.Reasons {
		out.Why = append(out.Why, "by "+d.Date.String()+": "+DueWords(d.Reason))
	}
	return out
}

// Document returns the plan as a sheet for the bench: what comes when, and why, with
// room to tick it off.
func (p *Plan) Document() *Document {
	d := &Document{
		title:   "nilvolt: service plan from " + p.Begin.Format(time.DateOnly),
		subject: "service plan of instruments, ledger " + p.Stand.Origin,
		head:    say("Service plan, ledger ").and(given(p.Stand.Origin)),
		foot:    say("%s leaves, head %.16s, %s", grouped(int(p.Stand.Leaves)), p.Stand.Root, moment(p.Stand.Made.In(p.Begin.Location()))),
		made:    p.Stand.Made,
	}
	end := p.Begin.AddDate(0, 0, 7*p.Weeks-1)
	d.add(
		heading{level: 1, text: say("Service plan")},
		paragraph{text: say("%s from Monday %s to Sunday %s, by what was known on %s. %s.", counted(p.Weeks, "week"),
			p.Begin.Format("2 January 2006"), end.Format("2 January 2006"), p.AsOf.Format("2 January 2006"), p.Capacity)},
		p.headline(),
	)
	if len(p.Left) > 0 {
		d.add(
			heading{level: 2, text: say("Due, and without a place")},
			paragraph{text: say("More is due than the bench can take. These are not to be used beyond the date; make room, or take them out of use.")},
			serviceTable(p.Left, true),
		)
	}
	for from := 0; from < len(p.Services); {
		to := from
		for to < len(p.Services) && p.Services[to].Week.Equal(p.Services[from].Week) {
			to++
		}
		week := p.Services[from].Week
		d.add(
			heading{level: 2, text: say("%v, from Monday %s", ISOWeekOf(week), week.Format("2 January"))},
			serviceTable(p.Services[from:to], true),
		)
		from = to
	}
	d.add(paragraph{small: true, text: say("An instrument is away for the week of its visit. The dates rest on the proofs and the register in the ledger; a fault that nobody has proved yet is not in them.")})
	d.add(signatures{who: []string{"Tool store"}})
	return d
}

// headline is the plan in one line.
func (p *Plan) headline() verdict {
	late := 0
	for _, s := range p.Services {
		if s.Late {
			late++
		}
	}
	switch {
	case len(p.Left) > 0:
		return verdict{
			word: counted(len(p.Left), "instrument") + " without a place", grave: heavy,
			text: say("%s planned, %s of them late.", countedIs(len(p.Services), "visit"), grouped(late)),
		}
	case len(p.Services) == 0:
		return verdict{word: "Nothing due", grave: light, text: say("No instrument is due in these weeks.")}
	case late > 0:
		return verdict{word: counted(len(p.Services), "visit"), grave: heavy, text: say("%s due before the week of service: out of use from that date on.", countedIs(late, "instrument"))}
	}
	return verdict{word: counted(len(p.Services), "visit"), grave: light, text: say("All are planned before they are due.")}
}

// serviceTable lists visits; bench says with room to tick them off.
func serviceTable(list []Service, bench bool) table {
	t := table{small: !bench, stack: true, columns: []column{{head: "instrument", weight: 2}, {head: "kind"}, {head: "due"}, {head: "why", weight: 5}}}
	if bench {
		t.columns = append([]column{{head: "done"}}, t.columns...)
		t.columns = append(t.columns, column{head: "date, by whom", weight: 2.5}, column{head: "result", weight: 2.5})
	}
	for _, s := range list {
		due := say("%s", day(s.Due))
		if s.Late || bench && s.Week.IsZero() {
			due = stress(day(s.Due))
		}
		cells := []words{given(s.Instrument), say("%s", s.Kind), due, given(strings.Join(s.Why, "; "))}
		if bench {
			cells = append([]words{say("☐")}, append(cells, say(""), say(""))...)
		}
		t.rows = append(t.rows, row{cells: cells})
	}
	return t
}
