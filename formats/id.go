package formats

import (
	"fmt"
	"unicode"
	"unicode/utf8"
)

// checkID refuses an id with a character that nobody can see: R7 with a zero-width
// space behind it looks like R7 and would be another record, without its job sheet
// or its live reading. Text that is no UTF-8 is refused as well.
func checkID(text string) error {
	for i := range len(text) {
		if c := text[i]; c < ' ' || c >= 0x7f {
			return checkLongID(text)
		}
	}
	return nil
}

// checkLongID is checkID for ids with more than printable ASCII.
func checkLongID(text string) error {
	if !utf8.ValidString(text) {
		return errEncoding
	}
	for _, r := range text {
		if !unicode.IsPrint(r) || unicode.In(r, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector) {
			return &unseenError{r}
		}
	}
	return nil
}

// An unseenError is an id that holds a character that cannot be seen.
type unseenError struct{ r rune }

func (e *unseenError) Error() string {
	return fmt.Sprintf("a name with a character that cannot be seen (%U)", e.r)
}

const mendUnseen = "type it anew; it may hold letters, digits, signs and plain blanks"
