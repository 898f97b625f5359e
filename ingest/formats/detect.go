package formats

import (
	"bytes"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"canter.example/schemas"
)

// Options say how to read what a file leaves open.
type Options struct {
	// Zone of clock times in CSV files that carry no zone; UTC, with a note,
	// when nil.
	Zone *time.Location
	// Date is the local date to assume for a CSV with clock times or elapsed
	// seconds only, taken from the path, say. When zero, such a file is an
	// error that says what to do. A time of day other than midnight is taken
	// as the start of elapsed seconds.
	Date time.Time
	// DateOrder settles CSV dates like 03/04/2025.
	DateOrder DateOrder
	// Limits; zero fields stand for [DefaultLimits].
	Limits Limits
}

// DateOrder is the order of day and month in dates written with slashes.
type DateOrder int

// Orders. Undecided refuses a date that can be read both ways, unless another
// date of the file, or Options.Date, settles it.
const (
	Undecided DateOrder = iota
	DayFirst
	MonthFirst
)

// Names of the formats, as [Decode] returns them.
const (
	FIT = "fit"
	TCX = "tcx"
	GPX = "gpx"
	CSV = "csv"
	ZIP = "zip"
)

// Decode detects the format by content, never by name, and returns the traces
// inside and the format's name, "" when it was not recognised. name is used
// in errors only.
//
// A file that is cut short or fails its checksum gives all samples that can
// still be read, in traces with their Damage; only when nothing is left is it
// an error. All errors are [*Error]. Decode never panics and keeps no reference
// to content.
func Decode(name string, content []byte, opt Options) (traces []schemas.Trace, format string, err error) {
	b := newBudget(opt.Limits)
	defer func() {
		if r := recover(); r != nil {
			traces = nil
			err = &Error{
				File: name, Kind: ErrDamaged,
				What:  "the reader gave up on this content",
				Do:    "Export the session again; if it happens again, report it with the file",
				Cause: fmt.Errorf("panic: %v\n%s", r, debug.Stack()),
			}
		}
	}()
	traces, format, problem := decode(content, opt, b, 0)
	if problem != nil {
		return nil, format, problem.inFile(name)
	}
	return traces, format, nil
}

// decode reads one document at the given nesting of archives and checks what
// holds for every format.
func decode(content []byte, opt Options, b *budget, nesting int) ([]schemas.Trace, string, *Error) {
	if len(content) == 0 {
		return nil, "", problem(ErrUnknownFormat, "", "the file is empty", "Export the session again")
	}
	if isZIP(content) {
		traces, err := decodeZIP(content, opt, b, nesting)
		return traces, ZIP, err
	}
	if int64(len(content)) > b.Bytes {
		return nil, "", b.bytesError(int64(len(content)))
	}
	if isFIT(content) {
		traces, err := decodeFIT(content, b)
		return finish(FIT, traces, err, b)
	}
	text, encoding, err := toUTF8(content)
	if err != nil {
		return nil, "", err
	}
	switch start := bytes.TrimLeft(text, " \t\r\n"); {
	case len(start) > 0 && start[0] == '<':
		return decodeXML(text, b)
	case len(start) > 0 && (start[0] == '{' || start[0] == '['):
		return nil, "", problem(ErrUnknownFormat, "byte 0", "JSON is not read", "Export the samples as FIT, TCX, GPX or CSV")
	}
	traces, err := decodeCSV(text, encoding, opt, b)
	if err != nil && errors.Is(err, ErrUnknownFormat) {
		return nil, "", err
	}
	return finish(CSV, traces, err, b)
}

func isFIT(content []byte) bool {
	if len(content) >= 12 && string(content[8:12]) == ".FIT" {
		return true
	}
	// A FIT file cut inside its header still has the header's size up front.
	return len(content) < 12 && (content[0] == 12 || content[0] == 14)
}

func isZIP(content []byte) bool {
	return bytes.HasPrefix(content, []byte("PK\x03\x04")) || bytes.HasPrefix(content, []byte("PK\x05\x06"))
}

// knownOthers are files that end up in such folders, with what to do instead.
var knownOthers = []struct {
	prefix   string
	what, do string
}{
	{"\xd0\xcf\x11\xe0", "an old spreadsheet workbook", "Save the sheet as CSV"},
	{"\x1f\x8b", "a gzip file", "Unpack it, or pack the files as ZIP"},
	{"Rar!", "a RAR archive", "Pack the files as ZIP"},
	{"7z\xbc\xaf", "a 7z archive", "Pack the files as ZIP"},
	{"%PDF", "a PDF document", "Export the samples as FIT, TCX, GPX or CSV"},
	{"\x89PNG", "a picture", "Export the samples as FIT, TCX, GPX or CSV"},
	{"\xff\xd8\xff", "a picture", "Export the samples as FIT, TCX, GPX or CSV"},
}

// unknown is the error for content that no reader takes.
func unknown(content []byte) *Error {
	for _, k := range knownOthers {
		if bytes.HasPrefix(content, []byte(k.prefix)) {
			return problem(ErrUnknownFormat, "byte 0", k.what+" is not read", k.do)
		}
	}
	return problem(ErrUnknownFormat, "byte 0", "neither FIT, TCX, GPX, CSV nor ZIP",
		"Export the session in one of these formats")
}
