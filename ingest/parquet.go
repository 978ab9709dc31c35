package ingest

import (
	"io"
	"slices"

	"nilvolt/formats"
	"nilvolt/record"
)

// A parquetInput is what a Parquet file of readings has beside its events. Those are
// written to a temporary file and read from there as any others.
type parquetInput struct {
	file       *formats.Parquet
	newest     map[string]int32 // of all files of the call, see Newest
	jobs       []record.Job     // rows of job sheets
	superseded int64            // rows of versions below the newest
}

// openParquet opens the inputs that are Parquet files and finds the newest version of
// each record over all of them.
func (s *Set) openParquet() error {
	newest := map[string]int32{}
	return s.eachInput(func(in *input) error {
		head, err := in.head(sniffBytes)
		if err != nil {
			return err
		}
		if !formats.IsParquet(head) {
			return nil
		}
		file, err := formats.OpenParquet(in.file, in.size, in.name)
		if err != nil {
			return err
		}
		in.parquet = &parquetInput{file: file, newest: newest}
		return file.Newest(newest)
	})
}

// recode writes the events as CSV.
func (p *parquetInput) recode(w io.Writer) (err error) {
	p.jobs, p.superseded, err = p.file.Recode(w, p.newest)
	return err
}

// allJobs returns the rows of all job sheets, those in Parquet files last.
func (s *Set) allJobs() []record.Job {
	jobs := slices.Clip(s.options.Jobs)
	for _, in := range s.inputs {
		if in.parquet != nil {
			jobs = append(jobs, in.parquet.jobs...)
		}
	}
	return jobs
}

// Superseded returns how many rows of Parquet files were left out because another
// version of their record, a later one, stands in the files of the call.
func (s *Set) Superseded() (n int64) {
	for _, in := range s.inputs {
		if in.parquet != nil {
			n += in.parquet.superseded
		}
	}
	return n
}
