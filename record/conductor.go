package record

import (
	"errors"
	"strings"
	"unicode"
	"unique"
)

// A Conductor is a conductor of the circuit by its designation, in upper case
// and after aliases: L, L1, L2, L3, N, E, PEN, L+, L-, M, a switched line such as
// SL1, or a name of the job sheet's own. Designations follow IEC 60445. Conductors
// compare with ==; the zero Conductor is none.
type Conductor struct {
	name unique.Handle[string]
}

// The conductors of the supplies.
var (
	L      = conductor("L")   // line of a single-phase supply
	L1     = conductor("L1")  // first line
	L2     = conductor("L2")  // second line
	L3     = conductor("L3")  // third line
	N      = conductor("N")   // neutral
	E      = conductor("E")   // protective earth
	PEN    = conductor("PEN") // neutral and earth in one
	LPlus  = conductor("L+")  // positive line of a dc supply
	LMinus = conductor("L-")  // negative line of a dc supply
	M      = conductor("M")   // mid conductor of a dc supply
)

func conductor(name string) Conductor { return Conductor{unique.Make(name)} }

var errConductorName = errors.New("not a conductor name")

// ParseConductor reads the name of a conductor; case and outer blanks do not
// matter, and PE, CPC and G are E. Blank text gives the zero Conductor. A name
// holds letters, digits, '+', '-', '.', '_' and the apostrophe only.
func ParseConductor(text string) (Conductor, error) {
	switch text { // the common names, without a look-up
	case "":
		return Conductor{}, nil
	case "L":
		return L, nil
	case "N":
		return N, nil
	case "E", "PE":
		return E, nil
	case "L1":
		return L1, nil
	case "L2":
		return L2, nil
	case "L3":
		return L3, nil
	case "L+":
		return LPlus, nil
	case "L-":
		return LMinus, nil
	case "M":
		return M, nil
	case "PEN":
		return PEN, nil
	}
	name := strings.ToUpper(strings.TrimSpace(text))
	switch name {
	case "":
		return Conductor{}, nil
	case "PE", "CPC", "G":
		return E, nil
	case "L\u2212":
		return LMinus, nil
	}
	for _, r := range name {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune("+-._'", r) {
			return Conductor{}, errConductorName
		}
	}
	return conductor(strings.Clone(name)), nil
}

// IsSet reports whether c names a conductor.
func (c Conductor) IsSet() bool { return c != Conductor{} }

// IsLine reports whether c is one of the line conductors L, L1, L2, L3, L+, L-.
func (c Conductor) IsLine() bool {
	switch c {
	case L, L1, L2, L3, LPlus, LMinus:
		return true
	}
	return false
}

// IsEarth reports whether c is E or PEN.
func (c Conductor) IsEarth() bool { return c == E || c == PEN }

// known reports whether c is one of the conductors of the supplies.
func (c Conductor) known() bool {
	return c.IsLine() || c.IsEarth() || c == N || c == M
}

// String returns the designation, "" for the zero Conductor.
func (c Conductor) String() string {
	if !c.IsSet() {
		return ""
	}
	return c.name.Value()
}

// A Pair is two conductors. Which comes first has no meaning for what was
// tested; where the probes were placed in an order, A is the one placed first.
type Pair struct {
	A, B Conductor
}

// String returns "L1-N".
func (p Pair) String() string { return p.A.String() + "-" + p.B.String() }

// IsSet reports whether both conductors are named.
func (p Pair) IsSet() bool { return p.A.IsSet() && p.B.IsSet() }

// Has reports whether c is one of the two.
func (p Pair) Has(c Conductor) bool { return p.A == c || p.B == c }

// Same reports whether p and q are the same two conductors, in either order.
func (p Pair) Same(q Pair) bool {
	return p == q || p.A == q.B && p.B == q.A
}

var (
	errPairForm      = errors.New("not two conductors with '-', '/' or ':' between them")
	errPairAmbiguous = errors.New("a pair that can be divided in two ways")
)

// ParsePair reads two conductors with '-', '/' or ':' between them, as in L1-N,
// L1/N or L+:L-. Blank text gives the zero Pair.
func ParsePair(text string) (Pair, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return Pair{}, nil
	}
	for _, separator := range []string{"/", ":"} {
		if a, b, found := strings.Cut(text, separator); found {
			return pairOf(a, b)
		}
	}
	// A '-' may belong to a name (L-), so each is tried; names of the supplies
	// win over names that the division makes up.
	var best Pair
	found, foundKnown := 0, 0
	for i := range len(text) {
		if text[i] != '-' {
			continue
		}
		p, err := pairOf(text[:i], text[i+1:])
		if err != nil {
			continue
		}
		known := p.A.known() && p.B.known()
		if known {
			foundKnown++
		}
		found++
		if found == 1 || known && foundKnown == 1 {
			best = p
		}
	}
	switch {
	case found == 0:
		return Pair{}, errPairForm
	case foundKnown > 1 || foundKnown == 0 && found > 1:
		return Pair{}, errPairAmbiguous
	}
	return best, nil
}

func pairOf(a, b string) (Pair, error) {
	first, err1 := ParseConductor(a)
	second, err2 := ParseConductor(b)
	if err := errors.Join(err1, err2); err != nil {
		return Pair{}, err
	}
	if !first.IsSet() || !second.IsSet() {
		return Pair{}, errPairForm
	}
	return Pair{first, second}, nil
}
