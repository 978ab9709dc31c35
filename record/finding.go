package record

// A Severity says what a finding does to a record.
type Severity uint8

// The severities. The zero value is none and stands in no finding.
const (
	SeverityNone Severity = iota
	Caution               // something to know; the record may be compliant
	Failure               // the record is not compliant
)

var severityWords = []string{"", "caution", "failure"}

// String returns the word.
func (s Severity) String() string { return wordOf(severityWords, s) }

// A Status is the judgement of a record.
type Status uint8

// The statuses. The zero Status is not judged and never counts as compliant.
const (
	NotJudged    Status = iota
	Compliant           // no failure; cautions may stand
	NonCompliant        // a failure other than live-found
	LiveFound           // a conductor read live and was not shown dead after it
)

var statusWords = []string{"not-judged", "compliant", "non-compliant", "live"}

// String returns the word of the output.
func (s Status) String() string { return wordOf(statusWords, s) }

// A Tested names what a finding or a requirement is about: a pair, where it
// matters the switch position, and the point of the equipment.
type Tested struct {
	Pair   Pair
	Switch Switch
	Point  string
}

// String returns "L1-N", "SL1-N@on"; the point is left out.
func (t Tested) String() string {
	return string(t.Append(nil))
}

// Append appends the text of t to b.
func (t Tested) Append(b []byte) []byte {
	b = append(b, t.Pair.A.String()...)
	b = append(b, '-')
	b = append(b, t.Pair.B.String()...)
	if t.Switch != SwitchUnknown {
		b = append(b, '@')
		b = append(b, t.Switch.String()...)
	}
	return b
}

// A Finding is something the judge has to say of a record.
type Finding struct {
	Rule      Rule
	Severity  Severity
	Indicator string   // the indicator it is about; blank if none
	Tested    []Tested // the pairs it is about, in the order of their names
	Lines     []Pos    // the input rows it rests on, in input order
	Message   string   // one sentence: what is wrong and what to do about it
}
