//go:build !(darwin || dragonfly || freebsd || linux || netbsd || openbsd)

package capture

import (
	"errors"
	"os"
	"syscall"
)

// lock does nothing where the system has no such locks: there, nobody must capture
// into one journal twice at once.
func lock(*os.File) error { return nil }

// syncFolder does nothing where folders cannot be opened as files.
func syncFolder(string) error { return nil }

// isFull reports whether err says that there is no room on the disk for more.
func isFull(err error) bool {
	const diskFull = syscall.Errno(112) // ERROR_DISK_FULL of Windows
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, diskFull)
}
