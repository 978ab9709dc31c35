package fleet

import (
	"math"

	"nilvolt/record"
)

// A Service is an instrument in the service plan.
type Service struct {
	*Assessment
	Week int         // of the plan, from 0; -1 where it finds no place
	From record.Date // the Monday of that week; not set where it finds no place
	// Reasons are the dates of service that fall within the plan, the earliest first, or the
	// first one after it: a visit serves them all. Empty where nothing says when.
	Reasons []Due
	Late    bool // the earliest date is before the week of the visit
}

// A ServicePlan says which instrument is serviced when.
type ServicePlan struct {
	Begin    record.Date // the Monday with which week 0 begins: the first after the assessment
	Shop     Shop
	Services []Service // by week, then by date of service
	Left     []Service // instruments that are due within the plan and find no place
	Risk     float64   // expected days of use past the date of service or out of tolerance
}

// Plan returns the service plan of the least expected risk from the first Monday after
// the assessment on. Instruments that are withdrawn, and those that a register with others lacks, take no part.
func (f *Fleet) Plan(shop Shop) ServicePlan {
	begin := f.planBegin()
	p := ServicePlan{Begin: begin, Shop: shop}
	var items []Item
	for i := range f.Instruments {
		a := &f.Instruments[i]
		if a.State == StateWithdrawn || f.stranger(a) || !begin.IsSet() {
			continue
		}
		item := f.item(a, begin, shop.Weeks)
		item.of = i
		items = append(items, item)
	}
	plan := Schedule(items, shop)
	p.Risk = plan.Risk
	for _, v := range plan.Visits {
		p.Services = append(p.Services, p.service(&f.Instruments[v.Item.of], v.Week))
	}
	for _, i := range plan.Left {
		p.Left = append(p.Left, p.service(&f.Instruments[i.of], -1))
	}
	return p
}

// planBegin returns the first Monday after the day of the assessment.
func (f *Fleet) planBegin() record.Date {
	if !f.AsOf.IsSet() {
		return record.Date{}
	}
	today := f.AsOf.Date()
	past := today.DaysSince(f.Since.Date()) % daysPerWeek // since the last Monday
	return today.AddDays(daysPerWeek - past)
}

func (p *ServicePlan) service(a *Assessment, week int) Service {
	s := Service{Assessment: a, Week: week}
	end := p.Begin.AddDays(p.Shop.Weeks*daysPerWeek - 1)
	if week >= 0 {
		s.From = p.Begin.AddDays(week * daysPerWeek)
		s.Late = a.Due().Date.IsSet() && s.From.After(a.Due().Date)
	}
	for _, d := range a.Dues {
		if !d.Date.After(end) {
			s.Reasons = append(s.Reasons, d)
		}
	}
	if s.Reasons == nil && len(a.Dues) > 0 { // it may be out of tolerance before it is likely to be
		s.Reasons = a.Dues[:1]
	}
	return s
}

// item returns an instrument as the plan sees it.
func (f *Fleet) item(a *Assessment, begin record.Date, weeks int) Item {
	i := Item{ID: a.Instrument, Kind: a.Kind, Due: math.Inf(1), Use: a.Use, Working: a.working(f.AsOf.Date())}
	if due := a.Due(); due.Date.IsSet() {
		// It may be used on that day still.
		i.Due = float64(due.Date.DaysSince(begin)+1) / daysPerWeek
	}
	first := f.Week(f.AsOf) + float64(begin.DaysSince(f.AsOf.Date()))/daysPerWeek
	// Neither a small chance nor want of readings is a reason for a visit, which would bring
	// in all of the fleet.
	if a.Forecast == nil || !a.Likely.IsSet() || a.Forecast.OutBy(first+float64(weeks)) < (1-f.Settings.Confidence)/2 {
		return i
	}
	for w := range weeks {
		i.Out = append(i.Out, a.Forecast.OutBy(first+float64(w)+0.5))
	}
	return i
}

// working reports whether an instrument is good to be used at a date.
func (a *Assessment) working(at record.Date) bool {
	return !a.driftedOnce() && a.State != StateWithdrawn && a.State != StateFailing && a.State != StateStepped && !a.OutOfTolerance() && !a.Overdue(at)
}
