//go:build !race

package clocks_test

// usualCases is how many cases of each kind are simulated where nobody says otherwise.
const usualCases = 10
