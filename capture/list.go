//go:build linux || freebsd || openbsd || windows || (darwin && cgo)

package capture

import "go.bug.st/serial/enumerator"

// List lists the ports with what the system tells of them.
func (serialPorts) List() ([]PortInfo, error) {
	list, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	ports := make([]PortInfo, 0, len(list))
	for _, p := range list {
		ports = append(ports, PortInfo{Name: p.Name, Product: p.Product, Serial: p.SerialNumber, VID: p.VID, PID: p.PID})
	}
	return ports, nil
}
