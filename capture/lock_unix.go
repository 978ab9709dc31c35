//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package capture

import (
	"errors"
	"os"
	"syscall"
)

// lock keeps every other process from locking the file until it is closed.
func lock(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return ErrInUse
	}
	return err
}

// syncFolder puts the names in a folder onto the disk.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}

// isFull reports whether err says that there is no room on the disk for more.
func isFull(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) || errors.Is(err, syscall.EFBIG)
}
