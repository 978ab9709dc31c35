//go:build race

package verify_test

// agreeRecords is how many records TestOracleAgrees compares under the race
// detector, which makes the oracle some ten times slower.
const agreeRecords = 40_000
