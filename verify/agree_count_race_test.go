//go:build race

package verify_test

// Less is made at random under the race detector, which makes the oracle some
// ten times slower.
const (
	agreeRecords = 40_000
	seededChecks = 500
)
