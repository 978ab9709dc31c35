package fleet

// ErrorAt returns the error of an instrument at a week since f.Since, at the voltage
// a.Expected: its level with its faults, without noise. It means something where
// a.Measured says so, from the instrument's last service on.
func (f *Fleet) ErrorAt(a *Assessment, week float64) float64 {
	if a.party < 0 {
		return a.Error
	}
	m := f.findings.model
	return a.Error - m.faultsOf(a.party, f.window.until) + m.faultsOf(a.party, week)
}
