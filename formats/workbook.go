package formats

import (
	"errors"
	"io"
)

func recodeWorkbook(io.Writer, io.Reader, Form) error { return errors.ErrUnsupported }
