//go:build darwin && !cgo

package capture

import "go.bug.st/serial"

// List lists the names of the ports: without cgo there is no way to what the system
// knows of the devices behind them, their serial numbers included.
func (serialPorts) List() ([]PortInfo, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, err
	}
	ports := make([]PortInfo, 0, len(names))
	for _, name := range names {
		ports = append(ports, PortInfo{Name: name})
	}
	return ports, nil
}
