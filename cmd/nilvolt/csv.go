package main

import (
	"strings"

	"nilvolt/record"
	"nilvolt/verify"
)

// csvHeader is the first line of the CSV output. Lines end with CRLF (RFC 4180, 2).
const csvHeader = "record,status,supply,rule,severity,indicator,pairs,lines,message\r\n"

// appendCSV appends j to out, a line a finding; a record without findings has
// one line, whose last fields are blank. Pairs and lines are separated by spaces.
func appendCSV(out []byte, j *verify.Judgement) []byte {
	if len(j.Findings) == 0 {
		return append(appendCSVRecord(out, j), ",,,,,,\r\n"...)
	}
	for i := range j.Findings {
		f := &j.Findings[i]
		out = appendCSVRecord(out, j)
		for _, text := range []string{
			f.Rule.String(), f.Severity.String(), f.Indicator, joined(f.Tested), places(f.Lines), f.Message,
		} {
			out = append(out, ',')
			out = appendCSVField(out, text)
		}
		out = append(out, "\r\n"...)
	}
	return out
}

// appendCSVRecord appends the fields of the record itself.
func appendCSVRecord(out []byte, j *verify.Judgement) []byte {
	out = appendCSVField(out, j.Record)
	out = append(out, ',')
	out = append(out, j.Status.String()...)
	out = append(out, ',')
	return append(out, j.Supply.String()...)
}

// appendCSVField appends text, in quotes where RFC 4180 asks for them or where a
// reader might take outer blanks off.
func appendCSVField(out []byte, text string) []byte {
	if !strings.ContainsAny(text, ",\"\r\n") && strings.TrimSpace(text) == text {
		return append(out, text...)
	}
	out = append(out, '"')
	out = append(out, strings.ReplaceAll(text, `"`, `""`)...)
	return append(out, '"')
}

// joined returns the pairs with spaces between them.
func joined(tested []record.Tested) string {
	var out []byte
	for i := range tested {
		t := &tested[i]
		if i > 0 {
			if reads(t, &tested[i-1]) {
				continue
			}
			out = append(out, ' ')
		}
		out = t.Append(out)
	}
	return string(out)
}

// places returns file:line of each place, with spaces between them.
func places(lines []record.Pos) string {
	var out []byte
	for i, pos := range lines {
		if i > 0 {
			out = append(out, ' ')
		}
		pos.Column = 0
		out = pos.Append(out)
	}
	return string(out)
}
