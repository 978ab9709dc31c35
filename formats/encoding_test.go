package formats

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"pgregory.net/rapid"
)

func TestSniff(t *testing.T) {
	tests := []struct{ name, bytes, want string }{
		{"ascii", "time,event\n", "UTF-8, in place"},
		{"utf-8", "zeit,µV\r\n", "UTF-8, in place"},
		{"utf-8 with mark", "\ufefftime,event\n", "UTF-8, in place"},
		{"utf-8 whose last character is cut", "zeit,\xc2", "UTF-8, in place"},
		{"one NUL, which the row reader names", "time,event\n2026,te\x00st,and more text to read\n", "UTF-8, in place"},
		{"cr", "time,event\r1,test\r", "UTF-8, CR line ends"},
		{"a single line whose LF is not seen yet", "time,event\r", "UTF-8, in place"},
		{"crlf", "time,event\r\n1,test\r\n", "UTF-8, in place"},
		{"utf-16 little with mark", "\xff\xfet\x00i\x00\n\x00", "UTF-16 (low byte first)"},
		{"utf-16 big with mark", "\xfe\xff\x00t\x00i\x00\n", "UTF-16 (high byte first)"},
		{"utf-16 little", "t\x00i\x00m\x00e\x00\n\x00", "UTF-16 (low byte first)"},
		{"utf-16 big", "\x00t\x00i\x00m\x00e\x00\n", "UTF-16 (high byte first)"},
		{"utf-16 with cr", "a\x00\r\x00b\x00\r\x00", "UTF-16 (low byte first), CR line ends"},
		{"zip", "PK\x03\x04....", "workbook"},
		{"windows-1252", "time,event\n1,pr\xfcfen\n", "f.csv:2:5: the byte 0xfc is not UTF-8"},
		{"empty", "", "f.csv: the file is empty"},
		{"blank", " \r\n\n", "f.csv: the file is empty"},
		{"only a mark", "\ufeff", "f.csv: the file is empty"},
		{"only a utf-16 mark", "\xff\xfe", "f.csv: the file is empty"},
		{"old workbook", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "f.csv: the file is a workbook of the old form (.xls), or one with a password"},
		{"pdf", "%PDF-1.7", "f.csv: the file is a PDF document"},
		{"rubbish", "\x01\x02\x03\x04\x05\x06\x07\x0e", "f.csv: the file is no text: it is full of control bytes"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f, err := Sniff([]byte(tt.bytes), "f.csv", nil)
			got := f.String()
			if f.InPlace() {
				got += ", in place"
			}
			if err != nil {
				got = err.Error()
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// The encoders of golang.org/x/text are the oracle: what they wrote reads as the
// text that they were given.
func TestRecode(t *testing.T) {
	forms := []struct {
		name    string
		encoder *encoding.Encoder
		m       *Map
	}{
		{"utf-16 little with mark", unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder(), nil},
		{"utf-16 big with mark", unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewEncoder(), nil},
		{"utf-16 little", unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewEncoder(), nil},
		{"utf-16 big", unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewEncoder(), nil},
		{"windows-1252", charmap.Windows1252.NewEncoder(), inWindows1252},
	}
	for _, f := range forms {
		t.Run(f.name, rapid.MakeCheck(func(t *rapid.T) {
			end := rapid.SampledFrom([]string{"\n", "\r\n", "\r"}).Draw(t, "end")
			lines := rapid.SliceOfN(rapid.StringMatching(`[ -~]{8}[a-z0-9;,äöüßé€µ]{0,4}`), 2, 9).Draw(t, "lines")
			text := strings.Join(lines, end) + end
			raw, err := f.encoder.String(text)
			if err != nil {
				t.Fatal(err)
			}
			form, err := Sniff([]byte(raw), "f.csv", f.m)
			if err != nil {
				t.Fatal(err)
			}
			var got bytes.Buffer
			if err := Recode(&got, strings.NewReader(raw), form); err != nil {
				t.Fatal(err)
			}
			want := text
			if end == "\r" {
				want = strings.ReplaceAll(text, "\r", "\n")
			}
			if diff := cmp.Diff(want, got.String()); diff != "" {
				t.Error(diff)
			}
		}))
	}
}

func TestRecodeRefuses(t *testing.T) {
	tests := []struct {
		name, bytes, want string
		m                 *Map
	}{
		{"half a unit at the end", "a\x00\n\x00b\x00\n", "f.csv:2: a character that is not UTF-16 (low byte first) (it reads as U+FFFD)", nil},
		{"half a surrogate pair", "a\x00\n\x00\x3d\xd8b\x00\n\x00", "f.csv:2: a character that is not UTF-16 (low byte first) (it reads as U+FFFD)", nil},
		{"a byte that windows-1252 lacks", "a\nb\x81\n", "f.csv:2: a character that is not Windows-1252 (it reads as U+FFFD)", inWindows1252},
		{"utf-8 named windows-1252", "\ufeffa\n", "f.csv: the map says that the file is Windows-1252, but its bytes are UTF-8", inWindows1252},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			form, err := Sniff([]byte(tt.bytes), "f.csv", tt.m)
			if err == nil {
				err = Recode(&bytes.Buffer{}, strings.NewReader(tt.bytes), form)
			}
			if err == nil || err.Error() != tt.want {
				t.Errorf("got %v, want %s", err, tt.want)
			}
		})
	}
}

// inWindows1252 is a map that names the encoding and nothing else.
var inWindows1252 = func() *Map {
	m, err := ParseMap("map.yaml", []byte("encoding: windows-1252\n"))
	if err != nil {
		panic(err)
	}
	return m
}()
