//go:build !race

package verify_test

// agreeRecords is how many records TestOracleAgrees compares.
const agreeRecords = 100_000
