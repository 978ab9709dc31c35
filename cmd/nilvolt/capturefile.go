package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"nilvolt/capture"
	"nilvolt/formats"
)

// writeEvents writes the record of a session as canonical CSV: the file is there
// whole, and on the disk, or not at all.
func writeEvents(path string, st *capture.State) error {
	text := formats.AppendEvents(nil, st.Record())
	f, err := os.CreateTemp(filepath.Dir(path), ".nilvolt-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(text)
	if err = errors.Join(err, f.Sync(), f.Chmod(0o644), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// printPorts prints ports with what is known of them.
func printPorts(format string, ports []capture.PortInfo, c *console) error {
	switch format {
	case "json":
		enc := json.NewEncoder(c.out)
		for _, p := range ports {
			if err := enc.Encode(map[string]string{"port": p.Name, "product": p.Product, "serial_number": p.Serial, "vid": p.VID, "pid": p.PID}); err != nil {
				return err
			}
		}
		return nil
	case "csv":
		c.out.WriteString("port,product,serial_number,vid,pid\r\n")
		for _, p := range ports {
			var line []byte
			for i, field := range []string{p.Name, p.Product, p.Serial, p.VID, p.PID} {
				if i > 0 {
					line = append(line, ',')
				}
				line = appendCSVField(line, field)
			}
			c.out.Write(append(line, "\r\n"...))
		}
		return nil
	}
	t := c.theme()
	if len(ports) == 0 {
		fmt.Fprintln(c.out, "no serial port was found; plug the instrument in, and look at its driver")
		return nil
	}
	for _, p := range ports {
		words := []string{t.clean(p.Name)}
		for _, part := range []struct{ what, text string }{{"", p.Product}, {"serial number ", p.Serial}, {"USB ", joinIDs(p.VID, p.PID)}} {
			if part.text != "" {
				words = append(words, part.what+t.clean(part.text))
			}
		}
		fmt.Fprintln(c.out, strings.Join(words, "  "))
	}
	return nil
}

// joinIDs writes the two numbers of a kind of USB device.
func joinIDs(vid, pid string) string {
	if vid == "" {
		return ""
	}
	return vid + ":" + pid
}
