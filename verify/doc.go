// Package verify judges one isolation record: was the indicator proved before and
// after, was every required pair of conductors tested dead, and the rest of
// docs/rules.md, which says exactly what each verdict means.
//
// It is pure: a [record.Record], a [Policy] and a register go in, a [Judgement]
// comes out. It judges evidence, never a conductor; nothing that is missing,
// failed or unreadable is ever a pass.
//
// A [Judge] works in the order in which the files are listed here:
//
//	jobs.go        the job rows in one, and where they conflict
//	order.go       rows by time, what is behind a closing restore is set aside
//	class.go       what each dead test says: dead, residual, live, unreadable
//	proof.go       whether a proof passes
//	series.go      proofs in series, and which series pass
//	required.go    which pairs are required
//	counting.go    which reading counts for each pair, and whether it is bracketed
//	core.go        the core rules
//	readings.go, timing.go, proofrules.go, steps.go, device.go, instruments.go,
//	missing.go     the further rules, by family
//	across.go      what rules across records need to know of the others
//	findings.go, sentences.go
//	               findings put together, and what they say
//	plain.go, plainfaults.go
//	               the short way to judge most records
//	rowstate.go    what each row was taken for, for who shows a record
//	catalogue.go   each rule in words, with its source
package verify
