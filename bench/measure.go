package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"
)

// A measure is what one run of a process took.
type measure struct {
	wall time.Duration
	cpu  time.Duration // user and system, all threads
	peak int64         // resident memory, bytes
}

// A result is the runs of one contender.
type result struct {
	contender
	runs []measure
}

// median returns the middle of each quantity on its own.
func (r *result) median() measure {
	return measure{
		wall: medianOf(r.runs, func(m measure) time.Duration { return m.wall }),
		cpu:  medianOf(r.runs, func(m measure) time.Duration { return m.cpu }),
		peak: medianOf(r.runs, func(m measure) int64 { return m.peak }),
	}
}

// medianOf returns the middle one of the values, the lower of the two middle ones
// when their number is even.
func medianOf[T time.Duration | int64](runs []measure, value func(measure) T) T {
	values := make([]T, len(runs))
	for i, m := range runs {
		values[i] = value(m)
	}
	slices.Sort(values)
	return values[(len(values)-1)/2]
}

// measureRounds runs all contenders in turn, each on its input, rounds times. A
// disturbance of the machine so falls on all of them.
func measureRounds(ctx context.Context, programs []contender, inputs []string, rounds int) ([]result, error) {
	results := make([]result, len(programs))
	for i, c := range programs {
		results[i].contender = c
	}
	for range rounds {
		for i := range results {
			m, err := measureOnce(ctx, programs[i], inputs[i], os.DevNull)
			if err != nil {
				return nil, err
			}
			results[i].runs = append(results[i].runs, m)
		}
	}
	return results, nil
}

// measureOnce runs c on input with its output written to out.
func measureOnce(ctx context.Context, c contender, input, out string) (measure, error) {
	args := c.args(input, out)
	cmd := exec.CommandContext(ctx, args[0], args[1:]...)
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	if c.toStdout {
		f, err := os.OpenFile(out, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o666)
		if err != nil {
			return measure{}, err
		}
		defer f.Close()
		cmd.Stdout = f
	}
	start := time.Now()
	err := cmd.Run()
	wall := time.Since(start)
	if err != nil && !(c.name == "nilvolt" && notCompliant(err)) {
		return measure{}, fmt.Errorf("%s: %w\n%s", strings.Join(args, " "), err, complaints.Bytes())
	}
	state := cmd.ProcessState
	return measure{wall: wall, cpu: state.UserTime() + state.SystemTime(), peak: peakMemory(state)}, nil
}

// notCompliant reports whether err is the exit status of nilvolt that says that
// not every record is compliant.
func notCompliant(err error) bool {
	exit, ok := errors.AsType[*exec.ExitError](err)
	return ok && exit.ExitCode() == 1
}

// peakMemory returns the peak resident memory of a process in bytes.
func peakMemory(state *os.ProcessState) int64 {
	usage, ok := state.SysUsage().(*syscall.Rusage)
	if !ok {
		return 0
	}
	peak := int64(usage.Maxrss)   //nolint:unconvert // 32 bits on some machines
	if runtime.GOOS != "darwin" { // getrusage(2): bytes there, KiB elsewhere
		peak *= 1024
	}
	return peak
}

// warm reads the file once, so that all contenders find it in the page cache, and
// returns its size.
func warm(name string) (int64, error) {
	f, err := os.Open(name)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	return io.Copy(io.Discard, f)
}

// machine says on what and when it was measured. What the system does not tell is
// left out.
func machine() string {
	parts := []string{
		time.Now().Format(time.DateOnly),
		fmt.Sprintf("%d cores", runtime.NumCPU()),
		runtime.GOOS + "/" + runtime.GOARCH,
		runtime.Version(),
	}
	if info, err := os.ReadFile("/proc/cpuinfo"); err == nil {
		for line := range strings.Lines(string(info)) {
			if name, value, _ := strings.Cut(line, ":"); strings.TrimSpace(name) == "model name" {
				parts = slices.Insert(parts, 1, strings.TrimSpace(value))
				break
			}
		}
	}
	if load, err := os.ReadFile("/proc/loadavg"); err == nil {
		if fields := strings.Fields(string(load)); len(fields) > 0 {
			parts = append(parts, "load before "+fields[0])
		}
	}
	return strings.Join(parts, ", ")
}

// outputBeside returns the name of the file that takes the verdicts of c.
func outputBeside(input string, c contender) string {
	return filepath.Join(filepath.Dir(input), "verdicts-"+c.name+".json")
}
