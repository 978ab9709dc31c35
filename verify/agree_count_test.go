//go:build !race

package verify_test

// How much is made at random: agreeRecords is how many records TestOracleAgrees
// compares, seededChecks on how many seeds a property is tried beside rapid's
// draws, which favour small numbers and so the same few happenings.
const (
	agreeRecords = 100_000
	seededChecks = 3000
)
