package record

import (
	"errors"
	"strconv"
	"strings"
)

// errUnknownWord is the complaint about a word that a list of words lacks. The
// caller names the list; see the Words functions.
var errUnknownWord = errors.New("unknown word")

// An enum is one of the small enumerations of this package; 0 is "not recorded".
type enum interface{ ~uint8 }

// parseWord finds text among words, whose index is the value; blank text is 0.
// Case and outer blanks do not matter.
func parseWord[T enum](words []string, text string) (T, error) {
	for i, w := range words {
		if w == text { // the usual case
			return T(i), nil
		}
	}
	text = strings.TrimSpace(text)
	if text == "" {
		return 0, nil
	}
	for i, w := range words {
		if i > 0 && strings.EqualFold(w, text) {
			return T(i), nil
		}
	}
	return 0, errUnknownWord
}

// wordOf is the reverse of parseWord.
func wordOf[T enum](words []string, v T) string {
	if int(v) < len(words) {
		return words[v]
	}
	return "value " + strconv.Itoa(int(v))
}
