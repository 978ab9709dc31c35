//go:build race

package clocks_test

// usualCases is smaller under the race detector, which slows the vote down and finds
// nothing in a package without goroutines.
const usualCases = 2
