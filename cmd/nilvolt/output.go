package main

import (
	"bufio"

	"nilvolt/record"
	"nilvolt/verify"
)

// An appender appends the judgement of a record to a buffer. It serves one worker.
type appender func(out []byte, rec *record.Record, j *verify.Judgement) []byte

// An output prints judgements in one format.
type output interface {
	// appender returns the function with which one worker appends a judgement to
	// its buffer.
	appender() appender
	// tally returns an empty tally that counts what the output needs.
	tally() *tally
	// emit takes what the workers appended, in the order of the input.
	emit(chunk []byte) error
	// finish prints what follows the last record.
	finish(t *tally, strays int) error
}

// newOutput returns the output that the flags ask for.
func newOutput(o *verifyOptions, c *console) output {
	switch {
	case o.format == "json":
		return &lineOutput{out: c.out, flush: o.stream, newAppender: func() appender {
			w := new(jsonWriter)
			return func(out []byte, _ *record.Record, j *verify.Judgement) []byte { return w.append(out, j) }
		}}
	case o.format == "csv":
		c.out.WriteString(csvHeader)
		return &lineOutput{out: c.out, flush: o.stream, newAppender: func() appender {
			return func(out []byte, _ *record.Record, j *verify.Judgement) []byte { return appendCSV(out, j) }
		}}
	case o.stream:
		return &textStream{lineOutput{out: c.out, flush: true}, c.theme()}
	}
	return &textReport{theme: c.theme(), all: o.all, out: c.out}
}

// A lineOutput prints what each judgement was made into as it comes.
type lineOutput struct {
	out         *bufio.Writer
	flush       bool // verdicts are to be seen as they come
	newAppender func() appender
}

func (l *lineOutput) appender() appender { return l.newAppender() }

func (l *lineOutput) tally() *tally { return new(tally) }

func (l *lineOutput) emit(chunk []byte) error {
	if _, err := l.out.Write(chunk); err != nil || !l.flush {
		return err
	}
	return l.out.Flush()
}

func (l *lineOutput) finish(*tally, int) error { return nil }
