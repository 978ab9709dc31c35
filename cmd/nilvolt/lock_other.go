//go:build !(darwin || dragonfly || freebsd || linux || netbsd || openbsd)

package main

import "os"

// lockFile does nothing where the system has no such locks: there, nobody must export
// into one folder twice at once.
func lockFile(*os.File) error { return nil }

// syncFolder does nothing where folders cannot be opened as files.
func syncFolder(string) error { return nil }
