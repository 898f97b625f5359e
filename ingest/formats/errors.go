package formats

import (
	"errors"
	"fmt"
	"strings"

	"canter.example/schemas"
)

// What can be wrong with a file. Every error that [Decode] returns is an
// [*Error] and wraps one of these.
var (
	// ErrUnknownFormat: the content is none of FIT, TCX, GPX, CSV, ZIP.
	ErrUnknownFormat = errors.New("not a format that can be read")
	// ErrDamaged: the file is cut short or altered so early that no sample is
	// left. With samples left, the traces are returned with their Damage.
	ErrDamaged = errors.New("damaged file")
	// ErrTooLarge: more bytes than [Limits] allow, in the file or unpacked.
	ErrTooLarge = errors.New("too large")
	// ErrTooMany: more samples, elements, traces or entries than [Limits] allow.
	ErrTooMany = errors.New("too much inside")
	// ErrTooDeep: XML elements, or ZIP files inside ZIP files, nested beyond [Limits].
	ErrTooDeep = errors.New("nested too deep")
	// ErrRatio: an archive entry unpacks to far more than its packed size.
	ErrRatio = errors.New("unpacks to far more than its size")
	// ErrEntities: an XML file declares a document type, where entities live.
	ErrEntities = errors.New("document type declarations are refused")
	// ErrEncrypted: an archive entry needs a password.
	ErrEncrypted = errors.New("encrypted")
	// ErrNoSamples: the file is sound and holds no timed samples.
	ErrNoSamples = errors.New("no samples")
	// ErrNoHeartRate: the file holds samples, none with a heart rate.
	ErrNoHeartRate = errors.New("no heart rate")
	// ErrColumns: a CSV heading line is missing, lacks a needed column, or
	// names one twice.
	ErrColumns = errors.New("columns not understood")
	// ErrValue: a cell holds something other than its column's kind of value.
	ErrValue = errors.New("value not understood")
	// ErrTime: a time that does not exist, is absurd, ambiguous or incomplete.
	ErrTime = errors.New("time not understood")
)

// Error says what is wrong with a file, where, and what to do about it.
type Error struct {
	// File as named by the caller.
	File string
	// Place inside the file ("line 12", "byte 4711", "entry a.fit, line 3"), "" for the whole.
	Place string
	// What is wrong, and Do what to do, as sentences without their full stop.
	What string
	Do   string
	// Kind is one of the package's sentinels; Cause is what a library said, or nil.
	Kind  error
	Cause error
}

// Error returns one line: file, place, what is wrong, what to do.
func (e *Error) Error() string {
	var b strings.Builder
	if e.File != "" {
		b.WriteString(e.File)
		b.WriteString(": ")
	}
	if e.Place != "" {
		b.WriteString(e.Place)
		b.WriteString(": ")
	}
	b.WriteString(e.What)
	if e.Do != "" {
		b.WriteString(". ")
		b.WriteString(e.Do)
	}
	return b.String()
}

// Unwrap returns the kind and the cause, for errors.Is and errors.As.
func (e *Error) Unwrap() []error {
	if e.Cause == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Cause}
}

// problem makes an [*Error] without a file name; [Decode] adds it.
func problem(kind error, place, what, do string) *Error {
	return &Error{Place: place, What: what, Do: do, Kind: kind}
}

// within puts a place around an error's own: the entry of an archive.
func (e *Error) within(place string) *Error {
	c := *e
	if c.Place == "" {
		c.Place = place
	} else {
		c.Place = place + ", " + c.Place
	}
	return &c
}

// inFile returns the error with the file's name on it.
func (e *Error) inFile(name string) *Error {
	c := *e
	c.File = name
	return &c
}

var count = schemas.Count

func atLine(n int) string { return fmt.Sprintf("line %d", n) }

// tally counts a small trouble that recurs, with the place it was first met,
// so that a file with 3,000 of them gets one note.
type tally struct {
	n     int
	first string
}

func (t *tally) add(place func() string) {
	if t.n == 0 {
		t.first = place()
	}
	t.n++
}
