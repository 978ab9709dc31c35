//go:build !(linux || darwin || freebsd || openbsd || windows)

package capture

import "errors"

// SerialPorts are the ports of this computer: none on this system.
func SerialPorts() Ports { return serialPorts{} }

type serialPorts struct{}

var errNoPorts = errors.New("serial ports are not supported on this system; capture on another one, or read the instrument's log as a file")

// Open fails.
func (serialPorts) Open(string, Settings) (Port, error) { return nil, errNoPorts }

// List fails.
func (serialPorts) List() ([]PortInfo, error) { return nil, errNoPorts }
