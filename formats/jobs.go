package formats

import (
	"nilvolt/record"
)

var jobColumns = &columnSet{
	kind:     jobsFile,
	what:     "job sheets",
	has:      func(c Column) bool { return c == RecordColumn || c == IndicatorColumn || c.IsJob() },
	required: []Column{RecordColumn},
}

// ReadJobs reads a whole job sheet, a row a record, in any form that [Sniff]
// knows; m is nil for a canonical one. Two rows of one record are two jobs: the
// judge says so. A sheet without a row is an error. The error is a *RowError or a
// *BadRows with all that is wrong.
func ReadJobs(data []byte, name string, m *Map) ([]record.Job, error) {
	text, l, err := bindWhole(data, name, m, jobColumns)
	if err != nil {
		return nil, err
	}
	var jobs []record.Job
	bad := eachRow(text, name, l, func(row *Row, pos record.Pos) []*Problem {
		job, problems := decodeJob(row, pos)
		jobs = append(jobs, job)
		return problems
	})
	if err := bad.Err(); err != nil {
		return nil, err
	}
	return jobs, nil
}

// bindWhole takes the text and the layout of a small file.
func bindWhole(data []byte, name string, m *Map, set *columnSet) (string, *Layout, error) {
	s := m.section(set.kind, name)
	text, err := textOf(data, name, s)
	if err != nil {
		return "", nil, err
	}
	l, err := bind(text, name, s, set)
	if err != nil {
		return "", nil, err
	}
	return text, l, nil
}

// decodeJob reads the job columns of a canonical row, Record and Indicator among
// them. The strings of the job point into the row.
func decodeJob(row *Row, pos record.Pos) (record.Job, []*Problem) {
	var s rowState
	var problems []*Problem
	for c := range NumColumns {
		if f := &row[c]; f.Text != "" && jobColumns.has(c) {
			if err := s.set(c, f.Text); err != nil {
				problems = append(problems, fieldProblem(c, f, err))
			}
		}
	}
	job := s.job
	job.Record, job.Indicator, job.Pos = s.id, s.event.Indicator, pos
	problems = append(problems, problemsOf(
		notBlank(RecordColumn, row, "a job without a record id", "give the id that its readings have"),
		checkNominal(row),
		checkSpan(row, &job),
	)...)
	return job, problems
}

// problemsOf returns the problems that are not nil.
func problemsOf(all ...*Problem) []*Problem {
	var problems []*Problem
	for _, p := range all {
		if p != nil {
			problems = append(problems, p)
		}
	}
	return problems
}

// problemAt is a problem of one field.
func problemAt(c Column, f *Field, message, mend string) *Problem {
	return &Problem{Column: f.Column, Line: f.Line, Field: c.String(), Text: f.Text, Message: message, Mend: mend}
}

func notBlank(c Column, row *Row, message, mend string) *Problem {
	if !isBlank(row[c].Text) {
		return nil
	}
	return problemAt(c, &row[c], message, mend)
}

func checkNominal(row *Row) *Problem {
	f := &row[NominalColumn]
	if v, ok, err := record.ParseVolts(f.Text); err == nil && ok && v <= 0 {
		return problemAt(NominalColumn, f, "a voltage that is not above 0", "write the nominal voltage, or leave it blank")
	}
	return nil
}

func checkSpan(row *Row, job *record.Job) *Problem {
	if job.Start.IsSet() && job.End.IsSet() && job.End.Before(job.Start) {
		return problemAt(EndColumn, &row[EndColumn], "the end comes before the start", "correct one of the two")
	}
	return nil
}
