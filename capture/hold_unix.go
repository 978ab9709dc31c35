//go:build darwin || freebsd || linux || openbsd

package capture

import (
	"os"
	"syscall"
)

// holdPort keeps other processes of this program from the port until it is closed.
func holdPort(name string) (*os.File, error) {
	f, err := os.OpenFile(name, os.O_RDWR|syscall.O_NOCTTY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	if err := lock(f); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}
