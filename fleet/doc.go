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
// Times are weeks as float64 from an origin that the caller chooses, errors are
// percent of the expected voltage. The package knows no clock, file, network,
// database or randomness.
package fleet
