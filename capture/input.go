package capture

import (
	"fmt"
	"strings"

	"nilvolt/formats"
	"nilvolt/record"
)

// An Input is what the technician did or said: a step taken, what the next reading
// is of, or a word to the session. It stands in the journal as its text.
type Input struct {
	Verb  Verb
	Step  record.Kind // of DidStep
	Next  Next        // of NextReading
	Words string      // the port of UsePort, the text of TakeNote
	Role  Role        // of UsePort
}

// A Verb says what an input is.
type Verb uint8

// The verbs.
const (
	NoVerb      Verb = iota
	DidStep          // a step was taken: inspect, identify, permission, shed-load, isolate, lock, label, begin, restore
	NextReading      // what the next reading is of; an instrument that is polled is asked for it
	HaveSeen         // all that stands in the record so far was seen, live readings among it
	UsePort          // the instrument is now at another port
	TakeNote         // free text
	Finish           // the session is over
)

// Next says what the next reading is of, where the line itself does not: canonical
// text by column. A pair counts for one reading, everything else until it is said
// anew, so that no reading is taken for one of a pair that was tested before.
type Next struct {
	Event            record.Kind // Test or Prove; KindUnknown where nothing was said
	From, To, Pair   string
	Source, Expected string
	Switch, Point    string
	Side             string
}

// grammar is what may be said, for messages.
const grammar = "a step (" + stepWords + "), test L-N [on|off] [point=NAME] [side=load], prove [SOURCE [VOLTS]], seen, use indicator|source PORT, note TEXT, end"

const stepWords = "inspect, identify, permission, shed-load, isolate, lock, label, begin, restore"

// ParseInput reads what the technician typed:
//
//	isolate                      a step taken
//	test L-N                     the next reading is of L-N
//	test E L on point=panel      probe first on E, then on L, switch on, at that point
//	prove PU-1 250               the next readings are proofs on PU-1, which puts out 250 V
//	seen                         what was shown was seen
//	use indicator /dev/ttyUSB1   the indicator is now there
//	note two locks on the board
//	end
//
// The error says what may be said.
func ParseInput(text string) (Input, error) {
	words := strings.Fields(text)
	if len(words) == 0 {
		return Input{}, fmt.Errorf("nothing was said; say %s", grammar)
	}
	verb, rest := strings.ToLower(words[0]), words[1:]
	switch verb {
	case "test":
		next, err := parseTest(rest)
		return Input{Verb: NextReading, Next: next}, err
	case "prove", "reprove":
		next, err := parseProve(rest)
		return Input{Verb: NextReading, Next: next}, err
	case "note":
		note := strings.TrimSpace(strings.TrimSpace(text)[len(words[0]):])
		if note == "" {
			return Input{}, fmt.Errorf("a note without text")
		}
		return Input{Verb: TakeNote, Words: note}, nil
	case "use":
		return parseUse(rest)
	}
	if len(rest) > 0 {
		return Input{}, fmt.Errorf("%q is not understood; say %s", text, grammar)
	}
	switch verb {
	case "seen":
		return Input{Verb: HaveSeen}, nil
	case "end":
		return Input{Verb: Finish}, nil
	}
	if kind, err := record.ParseKind(verb); err == nil && kind.IsStep() {
		return Input{Verb: DidStep, Step: kind}, nil
	}
	return Input{}, fmt.Errorf("%q is not understood; say %s", text, grammar)
}

// parseTest reads what stands behind test.
func parseTest(words []string) (Next, error) {
	next := Next{Event: record.Test}
	for len(words) > 0 && !strings.Contains(words[0], "=") {
		word := words[0]
		if _, err := record.ParseSwitch(word); err == nil {
			next.Switch = strings.ToLower(word)
		} else if pair, err := record.ParsePair(word); err == nil && pair.IsSet() {
			next.Pair = word
		} else if c, err := record.ParseConductor(word); err == nil && c.IsSet() && len(words) > 1 && next.From == "" {
			next.From, next.To = word, words[1]
			words = words[1:]
		} else {
			return Next{}, fmt.Errorf("%q is no pair of conductors and no position of a switch", word)
		}
		words = words[1:]
	}
	for _, word := range words {
		key, value, _ := strings.Cut(word, "=")
		switch key {
		case "point":
			next.Point = value
		case "side":
			next.Side = value
		default:
			return Next{}, fmt.Errorf("%q is not understood; a test may say point=NAME and side=supply or side=load", word)
		}
	}
	return next, next.check()
}

// parseProve reads what stands behind prove.
func parseProve(words []string) (Next, error) {
	next := Next{Event: record.Prove}
	if len(words) > 2 {
		return Next{}, fmt.Errorf("prove takes a source and the volts that it puts out, no more")
	}
	if len(words) > 0 {
		next.Source = words[0]
	}
	if len(words) > 1 {
		next.Expected = words[1]
	}
	return next, next.check()
}

// check decodes n as if a reading had come.
func (n *Next) check() error {
	_, err := n.suppose()
	return err
}

// suppose returns the event that a dead reading would be, which says nothing else.
func (n *Next) suppose() (ev record.Event, err error) {
	row := formats.Row{}
	row[formats.TimeColumn].Text = "2000-01-01T00:00:00Z"
	row[formats.IndicatorColumn].Text = "VI"
	row[formats.VoltsColumn].Text = "0"
	if !n.hasPair() && n.Event == record.Test { // the line will tell
		row[formats.PairColumn].Text = "L-N"
	}
	n.fill(&row)
	var job record.Job
	if _, _, problems := formats.DecodeRow(&row, record.Pos{}, &ev, &job); len(problems) > 0 {
		return ev, fmt.Errorf("%q: %s; %s", problems[0].Text, problems[0].Message, problems[0].Mend)
	}
	return ev, nil
}

// hasPair reports whether the conductors of the next reading were said.
func (n *Next) hasPair() bool { return n.From != "" || n.Pair != "" }

// Meaning says in words what n makes of the next reading; blank where nothing was said.
func (n *Next) Meaning() string {
	switch {
	case n.Event == record.KindUnknown:
		return ""
	case n.hasPair():
		return "the next reading counts as " + n.String() + ", unless its line says otherwise"
	case n.Event == record.Test:
		return "the next readings count as " + n.String() + " of the pairs that their lines name"
	}
	return "the next readings count as " + n.String() + ", unless their lines say otherwise"
}

// fill adds to a row what was said of it, where the row does not say it itself.
func (n *Next) fill(row *formats.Row) {
	set := func(c formats.Column, text string) {
		if row[c].Text == "" {
			row[c].Text = text
		}
	}
	if n.Event != record.KindUnknown {
		set(formats.EventColumn, n.Event.String())
	}
	kind, _ := record.ParseKind(row[formats.EventColumn].Text)
	switch {
	case kind == record.Test:
		if row[formats.FromColumn].Text == "" && row[formats.ToColumn].Text == "" && row[formats.PairColumn].Text == "" {
			set(formats.FromColumn, n.From)
			set(formats.ToColumn, n.To)
			set(formats.PairColumn, n.Pair)
		}
		set(formats.SwitchColumn, n.Switch)
		set(formats.PointColumn, n.Point)
		set(formats.SideColumn, n.Side)
	case kind.IsProof():
		set(formats.SourceColumn, n.Source)
		set(formats.ExpectedColumn, n.Expected)
	}
}

// parseUse reads what stands behind use.
func parseUse(words []string) (Input, error) {
	if len(words) == 2 {
		if i, ok := findWord(roleWords[:], words[0]); ok && Role(i) != NoRole {
			return Input{Verb: UsePort, Role: Role(i), Words: words[1]}, nil
		}
	}
	return Input{}, fmt.Errorf("say which instrument is where, as in  use indicator /dev/ttyUSB1")
}

// String returns the text from which ParseInput reads i.
func (i Input) String() string {
	switch i.Verb {
	case DidStep:
		return i.Step.String()
	case NextReading:
		return i.Next.String()
	case HaveSeen:
		return "seen"
	case UsePort:
		return "use " + i.Role.String() + " " + i.Words
	case TakeNote:
		return "note " + i.Words
	case Finish:
		return "end"
	case NoVerb:
	}
	return ""
}

// String returns n as it is typed.
func (n *Next) String() string {
	words := []string{n.Event.String()}
	add := func(key, value string) {
		if value != "" {
			words = append(words, key+value)
		}
	}
	add("", n.From)
	add("", n.To)
	add("", n.Pair)
	add("", n.Switch)
	add("", n.Source)
	add("", n.Expected)
	add("point=", n.Point)
	add("side=", n.Side)
	return strings.Join(words, " ")
}
