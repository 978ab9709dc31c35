// Package fleet looks at instruments over time. It takes the proofs of many
// records, each a reading of a voltage indicator on a proving source of known
// voltage, and says which instrument drifts or has jumped, which one fails its
// proofs more often than it used to, when it will leave its tolerance, when to
// service it, and which records are in doubt once it has failed.
//
// A proof compares two instruments, so that only differences are seen:
//
//	e = 100 % x (volts - expected) / expected = level(indicator) + level(unit) + noise
//
// A fault of a proving unit shows on every indicator that was proved on it. The
// package therefore never judges an instrument by its own readings alone; see
// [Search] for whose fault it is, and [Advise] for the proofs that would settle a
// doubt. What cannot be known from the proofs is said, never guessed.
//
// [Assess] is the way in: from all proofs, the register and a moment it makes the
// assessment of each instrument, worst first. [Fleet.Plan] makes the service plan of them,
// [Fleet.Readings] and [Fleet.Charts] what is drawn, and [LookBack] takes
// [Assessment.Failure].
//
// Times are weeks as float64 from an origin that the caller chooses, errors are
// percent of the expected voltage. The package knows no clock, file, network,
// database or randomness.
package fleet
