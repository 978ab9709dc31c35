package formats

import (
	"errors"
	"strconv"
	"strings"
)

func itoa(n int) string { return strconv.Itoa(n) }

// errorText writes all the mistakes that err lists, a line each.
func errorText(err error) string {
	bad, ok := errors.AsType[*BadRows](err)
	if !ok {
		return err.Error()
	}
	var lines []string
	for _, e := range bad.First {
		lines = append(lines, e.Error())
	}
	return strings.Join(lines, "\n")
}
