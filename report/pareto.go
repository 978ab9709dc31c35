package report

// A Bar is a rule in a Pareto chart.
type Bar struct {
	Name  string
	Count int
	// UpTo is the share of all counts that this bar and those before it make, from 0
	// to 1.
	UpTo float64
}

// Pareto returns the bars of the rules that failed, in the order of the table: the most
// frequent first. A record in which several rules failed counts in each of them.
func (w *Week) Pareto() []Bar {
	total := 0
	for _, r := range w.Rules {
		total += r.Now.Failing
	}
	bars := make([]Bar, 0, len(w.Rules))
	sum := 0
	for _, r := range w.Rules {
		sum += r.Now.Failing
		bars = append(bars, Bar{r.Name, r.Now.Failing, float64(sum) / float64(total)})
	}
	return bars
}
