package capture

import (
	"errors"
	"fmt"
	"io"
	"strings"
)

// ErrNoPort is the error of opening what is something else.
var ErrNoPort = errors.New("it is no serial port")

// A Port is an open serial port.
type Port interface {
	// Read waits a short while for bytes; none in that time is (0, nil). Any error says
	// that the port is gone.
	Read(p []byte) (int, error)
	io.Writer
	io.Closer
}

// Settings are the speed and the framing of a port.
type Settings struct {
	Baud   int
	Bits   int    // data bits, 5 to 8
	Parity string // none, odd, even, mark or space
	Stop   string // stop bits: 1, 1.5 or 2
}

// DefaultSettings are the most common ones.
func DefaultSettings() Settings { return Settings{Baud: 9600, Bits: 8, Parity: "none", Stop: "1"} }

// String returns the settings as they are usually written, as in "9600 8N1".
func (s Settings) String() string {
	parity := "?"
	if s.Parity != "" {
		parity = strings.ToUpper(s.Parity[:1])
	}
	return fmt.Sprintf("%d %d%s%s", s.Baud, s.Bits, parity, s.Stop)
}

// PortInfo is what the system tells of a port.
type PortInfo struct {
	Name    string
	Product string // blank where it is not known
	Serial  string // serial number of the USB device; blank where it has none or it is not known
	VID     string // of a USB device, four hexadecimal digits
	PID     string
}

// Ports are the serial ports of the computer, as a session uses them.
type Ports interface {
	// Open opens a port. One that another process has open is ErrInUse.
	Open(name string, s Settings) (Port, error)
	// List lists the ports that there are.
	List() ([]PortInfo, error)
}
