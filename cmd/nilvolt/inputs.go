package main

import (
	"errors"
	"io"
	"io/fs"
	"os"

	"github.com/spf13/pflag"

	"nilvolt/formats"
	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/verify"
)

// inputFlags name the files that a judgement rests on beside the readings.
type inputFlags struct {
	jobs        []string
	instruments string
	policy      string
	readingsMap string
	jobsMap     string
	zone        string
}

// register adds the flags that name the files.
func (f *inputFlags) register(flags *pflag.FlagSet) {
	flags.StringArrayVar(&f.jobs, "jobs", nil, "job sheet `file`; may be given several times")
	flags.StringVar(&f.instruments, "instruments", "", "instrument register `file`")
	flags.StringVar(&f.policy, "policy", "", "site policy `file` (YAML)")
	flags.StringVar(&f.readingsMap, "map", "", "column map `file` (YAML) for every file that it has a part for")
	flags.StringVar(&f.jobsMap, "jobs-map", "", "column map `file` for the job sheets, in place of --map")
	flags.StringVar(&f.zone, "zone", "", "`zone` of times without an offset, such as Europe/Berlin, where the map names none")
}

// infos returns what the system says of those files, to know them again.
func (f *inputFlags) infos() (infos []fs.FileInfo) {
	for _, name := range append([]string{f.instruments, f.policy, f.readingsMap, f.jobsMap}, f.jobs...) {
		if info, err := os.Stat(name); err == nil { // what there is not is told where it is read
			infos = append(infos, info)
		}
	}
	return infos
}

// inputs are those files, read.
type inputs struct {
	policy      *verify.Policy
	register    record.Register // nil where none was given
	jobs        []record.Job
	readingsMap *formats.Map // nil: the readings are canonical
	jobsMap     *formats.Map // of job sheets
	files       []inputFile  // what was read, in order

	// open gives the bytes of a file.
	open func(role ledger.Role, name string) ([]byte, error)
}

// newInputs returns inputs that are read from the disk.
func newInputs() *inputs {
	return &inputs{
		policy: verify.DefaultPolicy(),
		open:   func(_ ledger.Role, name string) ([]byte, error) { return readFile(name) },
	}
}

// An inputFile is one of the files as it was read.
type inputFile struct {
	role ledger.Role
	name string
	data []byte
}

// read reads one of the files.
func (in *inputs) read(role ledger.Role, name string) ([]byte, error) {
	data, err := in.open(role, name)
	if err == nil {
		in.files = append(in.files, inputFile{role, name, data})
	}
	return data, err
}

// load reads the files. Every one of them is read, so that all mistakes are told
// at once; the errors are joined.
func (f *inputFlags) load() (*inputs, error) {
	in := newInputs()
	if err := f.loadMaps(in); err != nil {
		return nil, err // without its map no other file can be understood
	}
	var errs []error
	if f.policy != "" {
		data, err := in.read(ledger.Policy, f.policy)
		if err == nil {
			in.policy, err = verify.ParsePolicy(f.policy, data)
		}
		errs = append(errs, err)
	}
	if f.instruments != "" {
		data, err := in.read(ledger.Instruments, f.instruments)
		if err == nil {
			in.register, err = formats.ReadRegister(data, f.instruments, in.readingsMap)
		}
		if err == nil {
			err = verify.CheckRegister(in.register)
		}
		errs = append(errs, err)
	}
	return in, errors.Join(append(errs, f.loadJobs(in))...)
}

// loadJobs reads the job sheets.
func (f *inputFlags) loadJobs(in *inputs) error {
	var errs []error
	for _, name := range f.jobs {
		data, err := in.read(ledger.Jobs, name)
		if err == nil {
			var jobs []record.Job
			jobs, err = formats.ReadJobs(data, name, in.jobsMap)
			in.jobs = append(in.jobs, jobs...)
		}
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// loadMaps reads the column maps. A map may have parts for job sheets and the
// register too, so it goes with every file, but --jobs-map goes before it. The
// zone of the command line holds where a map names none.
func (f *inputFlags) loadMaps(in *inputs) error {
	if f.jobsMap != "" && len(f.jobs) == 0 {
		return hint("name the job sheet with --jobs", "--jobs-map is given without a job sheet")
	}
	var err1, err2 error
	in.readingsMap, err1 = in.loadMap(ledger.Map, f.readingsMap, f.zone)
	in.jobsMap = in.readingsMap
	if f.jobsMap != "" {
		in.jobsMap, err2 = in.loadMap(ledger.JobsMap, f.jobsMap, f.zone)
	}
	return errors.Join(err1, err2)
}

// loadMap reads a column map and gives it the zone of the command line.
func (in *inputs) loadMap(role ledger.Role, name, zone string) (*formats.Map, error) {
	var m *formats.Map
	if name != "" {
		data, err := in.read(role, name)
		if err != nil {
			return nil, err
		}
		if m, err = formats.ParseMap(name, data); err != nil {
			return nil, err
		}
	}
	if zone == "" {
		return m, nil
	}
	return m.InZone(zone)
}

// loadMap reads a column map; both may be blank.
func loadMap(name, zone string) (*formats.Map, error) {
	return newInputs().loadMap(ledger.Map, name, zone)
}

// readFile reads a small file whole.
func readFile(name string) ([]byte, error) {
	const most = 256 << 20 // far beyond any job sheet, and still no danger to the memory
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, err
	}
	if len(data) > most {
		return nil, hint("check that it is the right file", "%s: larger than 256 MiB", name)
	}
	return data, nil
}
