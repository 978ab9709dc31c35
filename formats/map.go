package formats

import (
	"path"
	"regexp"
	"strings"
	"time"

	"nilvolt/record"
)

// A Map says how files that are not canonical are read: their form, and which of
// their columns holds what. It may have several parts, for files of several
// kinds. A nil Map is that of canonical files. docs/maps.md is its reference.
type Map struct {
	sections []*section
	zone     *time.Location // of times without an offset, where a section names none
}

// A fileKind says what the rows of a file are.
type fileKind uint8

const (
	readingsFile fileKind = iota
	jobsFile
	registerFile
)

var fileKindNames = []string{"readings", "jobs", "instruments"}

// columnsOf returns the canonical columns of files of kind k.
func (k fileKind) columns() *columnSet {
	return [...]*columnSet{readingColumns, jobColumns, registerColumns}[k]
}

// A section is one document of a map: how the files that it is for are read.
type section struct {
	kind      fileKind
	files     []string // patterns of file names; none means every file of the kind
	encoding  *charset // nil: as the bytes tell
	sheet     string   // of a workbook; blank is the first one
	delimiter byte
	header    headerSpec
	comment   string           // rows that begin with it are skipped; blank for none
	skip      []*regexp.Regexp // rows that match one are skipped
	numbers   numberForm
	zone      *time.Location
	layout    *timeLayout // of time, start and end, where they name none
	months    []string    // names of the months, lower case; nil for the English ones
	columns   []*columnSpec
	function  *functionSpec
	ignore    []string
}

// A headerSpec says where the header and the rows begin.
type headerSpec struct {
	line     int    // of the header, 1 for the first; 0 where contains or none says it
	contains string // the header is the first line with this text
	none     bool   // there is no header
	first    int    // line of the first row; 0 is the one behind the header
}

// A columnRef names a column of the file.
type columnRef struct {
	name   string // blank where number says it
	number int    // 1 for the first column
	at     record.Pos
}

// A columnSpec says where a canonical column comes from and how it is read.
type columnSpec struct {
	column Column
	at     record.Pos // in the map

	// Exactly one of these is the source.
	from        *columnRef     // a column of the file
	value       *string        // the same text in every row
	preamble    *regexp.Regexp // a line above the header
	file        *regexp.Regexp // the name of the file
	date, clock *columnRef     // date and time of day in two columns

	match      *regexp.Regexp    // takes a part of the text; nil for all of it
	words      map[string]string // translations, by folded word
	unit       *unit             // of numbers without a unit of their own; nil where the map names none
	unitColumn *columnRef
	layout     *timeLayout
	zone       *time.Location
	separator  string // between the parts of a pair or of a list; blank for the canonical ones
}

// A functionSpec names the column that tells what the instrument measured.
type functionSpec struct {
	from  *columnRef
	words map[string]function
}

// A function is what an instrument was set to measure.
type function struct {
	voltage  bool   // false: the row is no reading
	waveform string // "ac", "dc", "both" or "" where the word does not tell
	unit     *unit  // nil where the word does not tell
}

// InZone returns a map that reads as m does, nil included, and takes times
// without an offset as local times of the zone, an IANA name, UTC or an offset,
// where m names none. An unknown zone is an error.
func (m *Map) InZone(name string) (*Map, error) {
	zone, err := loadZone(name)
	if err != nil {
		return nil, &RowError{Field: "zone", Text: name, Message: err.Error(), Mend: mendZone}
	}
	zoned := &Map{zone: zone}
	if m != nil {
		zoned.sections = m.sections
	}
	return zoned, nil
}

// section returns the part of m that files of kind k and the given name are read
// by, nil where they are canonical.
func (m *Map) section(k fileKind, file string) *section {
	if m == nil {
		return nil
	}
	found := m.find(k, file)
	if m.zone == nil || found != nil && found.zone != nil {
		return found
	}
	zoned := section{kind: k, delimiter: ',', header: headerSpec{line: 1}}
	if found != nil {
		zoned = *found
	}
	zoned.zone = m.zone
	return &zoned
}

func (m *Map) find(k fileKind, file string) *section {
	for _, s := range m.sections {
		if s.kind != k {
			continue
		}
		if len(s.files) == 0 {
			return s
		}
		for _, pattern := range s.files {
			if ok, _ := path.Match(pattern, baseName(file)); ok {
				return s
			}
		}
	}
	return nil
}

// baseName returns the last part of a path of either kind.
func baseName(file string) string {
	return file[strings.LastIndexAny(file, `/\`)+1:]
}

// foldWord brings a word into the form in which words are compared: case and the
// number of blanks do not matter.
func foldWord(text string) string {
	return strings.ToLower(strings.Join(strings.Fields(text), " "))
}
