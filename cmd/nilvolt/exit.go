package main

import "errors"

// The exit codes, as docs/rules.md section 8 states them.
const (
	exitCompliant    = 0 // every record is compliant and every row belongs to one record
	exitNotCompliant = 1 // not so; or a guess that is not sure
	exitUnread       = 2 // input could not be read, output could not be written, or the command was wrong
)

// errNotCompliant says that the judgement, already printed, is not all compliant.
var errNotCompliant = errors.New("not every record is compliant")

// errUnsure says that the map, already printed, holds guesses to be looked at.
var errUnsure = errors.New("not every line of the map is sure")

// errAltered says that an audit, already printed, found something wrong.
var errAltered = errors.New("the ledger is not as it was written")

// exitCode returns the code for what a command returned.
func exitCode(err error) int {
	if err == nil {
		return exitCompliant
	}
	if isVerdict(err) {
		return exitNotCompliant
	}
	return exitUnread
}

// isVerdict reports whether err is a verdict and nothing else. Joined with
// another error it is that error that counts.
func isVerdict(err error) bool {
	return err == errNotCompliant || err == errUnsure || err == errAltered //nolint:errorlint // a wrapped verdict is none
}
