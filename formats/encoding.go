package formats

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"nilvolt/record"
)

// A charset says how the characters of a file are kept in bytes.
type charset uint8

// The encodings.
const (
	utf8Text    charset = iota // UTF-8, of which ASCII is a part
	utf16Little                // UTF-16, low byte first
	utf16Big                   // UTF-16, high byte first
	windows1252                // the Western European code page; only where a map names it
	workbook                   // a spreadsheet, .xlsx
	parquetFile                // a table of Apache Parquet
)

// A Form says what the bytes of a file are: text in some encoding with some line
// ends, or a workbook. The zero Form is UTF-8 text that can be read in place.
type Form struct {
	name     string // of the file, for messages
	encoding charset
	lineCR   bool   // lines end with CR alone
	sheet    string // of a workbook; blank is the only one that has cells
	comma    byte   // the delimiter of the rows that a workbook is written as
	decimal  byte   // the decimal mark of its numbers
	header   headerSpec
}

// InPlace reports whether the file can be read as it stands: UTF-8 or ASCII with
// LF or CRLF line ends, with or without a byte order mark. Any other form goes
// through [Recode] first.
func (f Form) InPlace() bool { return f.encoding == utf8Text && !f.lineCR }

// IsWorkbook reports whether the file is a spreadsheet.
func (f Form) IsWorkbook() bool { return f.encoding == workbook }

// IsParquet reports whether a file with these first bytes is a Parquet file, which
// [OpenParquet] opens.
func IsParquet(head []byte) bool { return bytes.HasPrefix(head, []byte(parquetMagic)) }

// String returns the form in words, as in "UTF-16 (low byte first), CR line ends".
func (f Form) String() string {
	names := [...]string{"UTF-8", "UTF-16 (low byte first)", "UTF-16 (high byte first)", "Windows-1252", "workbook", "Parquet"}
	if f.lineCR {
		return names[f.encoding] + ", CR line ends"
	}
	return names[f.encoding]
}

// byteOrderMark is U+FEFF in UTF-8.
const byteOrderMark = "\xef\xbb\xbf"

// Sniff says what the bytes of the file called name are, from its first 64 KiB
// (or all of it, if shorter). UTF-16 is known by its byte order mark or by its
// zero bytes, UTF-8 by its bytes being valid. Any other text is read only
// through a map that names its encoding: which letter, sign or mark a byte stands
// for is never guessed. The map may be nil. The error is a *RowError.
//
// Sniff sees the start of the file only. Behind it, [Recode] refuses characters
// that the encoding cannot hold; a file that is read in place is checked field by
// field by whoever decodes it.
func Sniff(head []byte, name string, m *Map) (Form, error) {
	return sniff(head, name, m.section(readingsFile, name))
}

// sniff is Sniff for a file that is read by section s, nil for a canonical one.
func sniff(head []byte, name string, s *section) (Form, error) {
	f := Form{name: name, comma: ',', decimal: '.', header: headerSpec{line: 1}}
	if s != nil {
		f.sheet, f.comma, f.header = s.sheet, s.delimiter, s.header
		if s.numbers.comma {
			f.decimal = ','
		}
	}
	if IsParquet(head) {
		f.encoding = parquetFile
		return f, nil
	}
	if isWorkbook, err := sniffMagic(head, name); err != nil {
		return Form{}, err
	} else if isWorkbook {
		f.encoding = workbook
		return f, nil
	}
	f.encoding = sniffUnicode(head)
	if s != nil && s.encoding != nil {
		if err := checkEncoding(name, head, f.encoding, *s.encoding); err != nil {
			return Form{}, err
		}
		f.encoding = *s.encoding
	}
	text := head
	switch f.encoding {
	case utf16Little:
		text = lowBytes(head, 0)
	case utf16Big:
		text = lowBytes(head, 1)
	case utf8Text:
		text = bytes.TrimPrefix(head, []byte(byteOrderMark))
		if err := checkUTF8(head, name); err != nil {
			return Form{}, err
		}
	default: // ASCII stands for itself
	}
	if len(bytes.TrimSpace(text)) == 0 {
		return Form{}, formError(name, 0, "the file is empty", "export it again; a file without rows is no evidence")
	}
	f.lineCR = bytes.IndexByte(text, '\n') < 0 && bytes.IndexByte(text, '\r') >= 0 && !endsWithOnlyCR(text)
	return f, nil
}

// endsWithOnlyCR reports whether the only CR of text is its last byte, which may
// be half of a CRLF.
func endsWithOnlyCR(text []byte) bool { return bytes.IndexByte(text, '\r') == len(text)-1 }

func formError(name string, line int, message, mend string) *RowError {
	return &RowError{Pos: record.Pos{File: name, Line: line}, Message: message, Mend: mend}
}

const mendExport = "export the readings as CSV text (UTF-8) or as an .xlsx workbook"

// sniffMagic knows workbooks and common files that are no text by their first bytes.
func sniffMagic(head []byte, name string) (isWorkbook bool, err error) {
	if bytes.HasPrefix(head, []byte("PK\x03\x04")) {
		return true, nil
	}
	for _, other := range []struct{ magic, what string }{
		{"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a workbook of the old form (.xls), or one with a password"},
		{"%PDF-", "a PDF document"},
		{"\x89PNG", "a picture"},
		{"\xff\xd8\xff", "a picture"},
		{"\x1f\x8b", "a compressed file (gzip)"},
		{"SQLite format 3", "a database"},
		{"\xff\xfe\x00\x00", "text in UTF-32"},
		{"\x00\x00\xfe\xff", "text in UTF-32"},
	} {
		if bytes.HasPrefix(head, []byte(other.magic)) {
			return false, formError(name, 0, "the file is "+other.what, mendExport)
		}
	}
	if control := countControls(head); control*10 > len(head) && sniffUnicode(head) == utf8Text {
		return false, formError(name, 0, "the file is no text: it is full of control bytes", mendExport)
	}
	return false, nil
}

// countControls returns how many bytes stand for no character of a text.
func countControls(head []byte) int {
	n := 0
	for _, c := range head {
		if c < ' ' && c != '\t' && c != '\n' && c != '\r' && c != '\f' && c != '\v' || c == 0x7f {
			n++
		}
	}
	return n
}

// sniffUnicode knows UTF-16 by its mark, or by zero bytes on one side of its
// units: digits, delimiters and line ends make up a large part of any log.
// Everything else it calls UTF-8, right or wrong.
func sniffUnicode(head []byte) charset {
	switch {
	case bytes.HasPrefix(head, []byte("\xff\xfe")):
		return utf16Little
	case bytes.HasPrefix(head, []byte("\xfe\xff")):
		return utf16Big
	}
	var zeros [2]int
	units := len(head) / 2
	for i := range units * 2 {
		if head[i] == 0 {
			zeros[i%2]++
		}
	}
	const most, few = 0.4, 0.05
	switch even, odd := float64(zeros[0]), float64(zeros[1]); {
	case units < 2:
	case odd > most*float64(units) && even < few*float64(units) && countControls(lowBytes(head, 0)) == 0:
		return utf16Little
	case even > most*float64(units) && odd < few*float64(units) && countControls(lowBytes(head, 1)) == 0:
		return utf16Big
	}
	return utf8Text
}

// lowBytes returns the ASCII characters of UTF-16 text whose low bytes stand at
// the even (0) or odd (1) places; it serves to look for line ends.
func lowBytes(head []byte, low int) []byte {
	var text []byte
	for i := 0; i+1 < len(head); i += 2 {
		if head[i+1-low] == 0 {
			text = append(text, head[i+low])
		}
	}
	return text
}

// checkEncoding refuses a map's encoding that the bytes speak against.
func checkEncoding(name string, head []byte, sniffed, named charset) error {
	hasMark := bytes.HasPrefix(head, []byte(byteOrderMark))
	isUTF16 := sniffed == utf16Little || sniffed == utf16Big
	if isUTF16 && named != sniffed || hasMark && named != utf8Text ||
		!isUTF16 && (named == utf16Little || named == utf16Big) {
		return formError(name, 0,
			fmt.Sprintf("the map says that the file is %v, but its bytes are %v", Form{encoding: named}, Form{encoding: sniffed}),
			"take the line encoding out of the map, or correct it")
	}
	return nil
}

// checkUTF8 finds the first byte of head that is no UTF-8; the last character
// may be cut.
func checkUTF8(head []byte, name string) error {
	for i := 0; i < len(head); {
		if head[i] < utf8.RuneSelf {
			i++
			continue
		}
		r, size := utf8.DecodeRune(head[i:])
		if r == utf8.RuneError && size == 1 {
			if len(head)-i < utf8.UTFMax && !utf8.FullRune(head[i:]) {
				return nil
			}
			e := formError(name, bytes.Count(head[:i], []byte("\n"))+1, notUTF8(head[i]), mendEncoding)
			e.Pos.Column = i - bytes.LastIndexByte(head[:i], '\n')
			return e
		}
		i += size
	}
	return nil
}

func notUTF8(c byte) string {
	return "the byte 0x" + strconv.FormatUint(uint64(c), 16) + " is not UTF-8"
}

const mendEncoding = "export the file as UTF-8, or say in a map what it is, as in encoding: windows-1252"

// Recode copies text of form f from r to w as UTF-8 whose lines end with LF or
// CRLF, line n of the copy being line n of the text (row n of the sheet). The
// byte order mark is left out. A character that the encoding does not have is a
// *RowError with its line; errors of r and w come back as they are.
func Recode(w io.Writer, r io.Reader, f Form) error {
	switch f.encoding {
	case workbook:
		return recodeWorkbook(w, r, f)
	case parquetFile:
		return formError(f.name, 0, "the file is a Parquet file", "only readings can be read from Parquet, by nilvolt verify and ingest")
	case utf16Little:
		r = transform.NewReader(r, unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewDecoder())
	case utf16Big:
		r = transform.NewReader(r, unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewDecoder())
	case windows1252:
		r = transform.NewReader(r, charmap.Windows1252.NewDecoder())
	case utf8Text:
	}
	out := bufio.NewWriterSize(w, 64<<10)
	if err := copyLines(out, bufio.NewReaderSize(r, 64<<10), f); err != nil {
		return err
	}
	return out.Flush()
}

// copyLines copies UTF-8 text, turns lone CRs into LFs where f asks for it, and
// refuses what no decoder makes of sound text.
func copyLines(w *bufio.Writer, r *bufio.Reader, f Form) error {
	line, atStart, afterCR := 1, true, false
	for {
		c, size, err := r.ReadRune()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if atStart && c == '\ufeff' {
			atStart = false
			continue
		}
		atStart = false
		if c == utf8.RuneError || c >= 0x80 && c < 0xa0 {
			return badCharacter(f, line, c, size)
		}
		wasCR := afterCR
		afterCR = false
		switch {
		case f.lineCR && c == '\r':
			afterCR = true
			c = '\n'
			line++
		case c == '\n' && wasCR:
			continue // the LF of a CRLF, whose line end is written
		case c == '\n':
			line++
		}
		if _, err := w.WriteRune(c); err != nil {
			return err
		}
	}
}

// badCharacter is the error of a character that shows a wrong or damaged encoding.
func badCharacter(f Form, line int, c rune, size int) error {
	message := "a character that is not " + Form{encoding: f.encoding}.String()
	if c != utf8.RuneError || size != 1 {
		message += fmt.Sprintf(" (it reads as %U)", c)
	}
	return formError(f.name, line, message, "the file is damaged, or in another encoding: export it again as UTF-8")
}
