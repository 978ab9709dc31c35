//go:build linux || darwin || freebsd || openbsd || windows

package capture

import (
	"errors"
	"fmt"
	"syscall"
	"time"

	"go.bug.st/serial"
)

// readWait is how long Read waits for bytes. A line that pauses for longer is a pause;
// a character at 300 baud takes 37 ms.
const readWait = 100 * time.Millisecond

// SerialPorts are the ports of this computer.
func SerialPorts() Ports { return serialPorts{} }

type serialPorts struct{}

// Open opens a port and locks it, since root may open one twice.
func (serialPorts) Open(name string, s Settings) (Port, error) {
	mode, err := s.mode()
	if err != nil {
		return nil, err
	}
	hold, err := holdPort(name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, portError(err))
	}
	port, err := serial.Open(name, mode)
	if err == nil {
		if err = port.SetReadTimeout(readWait); err != nil {
			err = errors.Join(err, port.Close())
		}
	}
	if err != nil {
		hold.Close()
		return nil, fmt.Errorf("%s: %w", name, portError(err))
	}
	return &serialPort{port, hold}, nil
}

// A serialPort is an open port with what keeps others from it.
type serialPort struct {
	serial.Port
	hold interface{ Close() error }
}

// Close closes the port and lets others have it.
func (p *serialPort) Close() error { return errors.Join(p.Port.Close(), p.hold.Close()) }

// mode returns s as the library has it.
func (s Settings) mode() (*serial.Mode, error) {
	parity, ok := map[string]serial.Parity{
		"none": serial.NoParity, "odd": serial.OddParity, "even": serial.EvenParity, "mark": serial.MarkParity, "space": serial.SpaceParity,
	}[s.Parity]
	if !ok {
		return nil, fmt.Errorf("no parity is called %q; it is none, odd, even, mark or space", s.Parity)
	}
	stop, ok := map[string]serial.StopBits{"1": serial.OneStopBit, "1.5": serial.OnePointFiveStopBits, "2": serial.TwoStopBits}[s.Stop]
	if !ok {
		return nil, fmt.Errorf("%q stop bits; there are 1, 1.5 or 2", s.Stop)
	}
	if s.Bits < 5 || s.Bits > 8 {
		return nil, fmt.Errorf("%d data bits; there are 5 to 8", s.Bits)
	}
	if s.Baud <= 0 {
		return nil, fmt.Errorf("a speed of %d baud", s.Baud)
	}
	return &serial.Mode{BaudRate: s.Baud, DataBits: s.Bits, Parity: parity, StopBits: stop}, nil
}

// portError makes ErrInUse and ErrNoPort of the errors of the library and the system for
// them.
func portError(err error) error {
	port, ok := errors.AsType[*serial.PortError](err)
	switch {
	case ok && port.Code() == serial.PortBusy:
		return ErrInUse
	case ok && port.Code() == serial.InvalidSerialPort, ok && port.Code() == serial.PortNotFound, errors.Is(err, syscall.EISDIR):
		return ErrNoPort
	}
	return err
}
