package formats

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"canter.example/schemas"
)

// csvReader reads the samples below a heading line. It knows three shapes:
// one athlete; long, with a column that names the athlete of each line; wide,
// with a column of heart rates an athlete.
type csvReader struct {
	*layout
	text   []byte
	opt    Options
	b      *budget
	about  about
	times  csvTimes
	traces []*csvTrace
	// byAthlete finds the trace of an athlete in a long file.
	byAthlete map[string]*csvTrace
	notes     []string
	rows      int
	// bad is the first line without a readable time since the last good one:
	// at the end of a file they are its summary, elsewhere an error.
	bad     *Error
	badRows int
	noTime  tally
}

// csvTrace is one athlete's samples while they are read.
type csvTrace struct {
	trace schemas.Trace
	// times of the samples: instants, or clock times as if UTC; see csvTimes.
	times []int64
	lines []int32
	// last time and the days past midnight so far, for clock times without dates.
	last, shift int64
	begun       bool
}

// decodeCSV reads a CSV file in any dialect. It returns ErrUnknownFormat when
// the text is no table at all.
func decodeCSV(text []byte, _ string, opt Options, b *budget) ([]schemas.Trace, *Error) {
	r := &csvReader{opt: opt, b: b, byAthlete: map[string]*csvTrace{}}
	if !utf8.Valid(text) {
		text = fromWindows1252(text)
		r.notes = append(r.notes, "the text is not UTF-8 and was read as Windows-1252")
	}
	if line := longLine(text, b.Token); line > 0 {
		return nil, problem(ErrTooLarge, atLine(line), fmt.Sprintf("a line of more than %d bytes", b.Token), "Export the session again")
	}
	l, err := findLayout(text)
	if err != nil {
		return nil, err
	}
	r.layout, r.text = l, text
	r.about = readPreamble(l.preamble)
	r.times = newCSVTimes(r)
	if l.wide {
		r.makeColumns()
	}
	if err := r.read(); err != nil {
		return nil, err
	}
	defer r.release()
	return r.finish()
}

// longLine returns the number of the first line longer than limit, 0 when there is none.
func longLine(text []byte, limit int) int {
	if len(text) <= limit {
		return 0
	}
	for n := 1; len(text) > 0; n++ {
		i := bytes.IndexByte(text, '\n')
		if i < 0 {
			i = len(text)
		}
		if i > limit {
			return n
		}
		text = text[min(len(text), i+1):]
	}
	return 0
}

// makeColumns makes the traces of a wide file.
func (r *csvReader) makeColumns() {
	rows := min(bytes.Count(r.text[r.offset:], []byte{'\n'}), r.b.samples/len(r.hr))
	for _, i := range r.hr {
		h := r.headings[i]
		t := newCSVTrace(h.text, h.athlete)
		t.reserve(rows)
		r.traces = append(r.traces, t)
	}
}

// csvTraces are kept for their times and lines.
var csvTraces = sync.Pool{New: func() any { return new(csvTrace) }}

func newCSVTrace(part, label string) *csvTrace {
	t, _ := csvTraces.Get().(*csvTrace)
	*t = csvTrace{trace: schemas.Trace{Part: part, Label: label}, times: t.times[:0], lines: t.lines[:0]}
	return t
}

// release gives the memory of what was read back, when its traces are made.
func (r *csvReader) release() {
	for _, t := range r.traces {
		if cap(t.times) <= mostKept {
			t.trace = schemas.Trace{}
			csvTraces.Put(t)
		}
	}
}

// reserve makes room for so many samples.
func (t *csvTrace) reserve(n int) {
	n++ // a last line without an end
	t.trace.Samples = roomForSamples(n)
	t.times, t.lines = slices.Grow(t.times, n), slices.Grow(t.lines, n)
}

// lines returns the lines below the heading line.
func (r *csvReader) lines() (*csvLines, error) {
	l := newCSVLines(r.text[r.offset:], r.comma)
	_, _, err := l.read() // the heading line
	return l, err
}

func (r *csvReader) read() *Error {
	lines, err := r.lines()
	for first := true; ; first = false {
		var cells []string
		var n int
		if err == nil {
			cells, n, err = lines.read()
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return r.quoteError(err)
		}
		if r.skip(cells, first) {
			continue
		}
		if err := r.row(cells, r.line-1+n); err != nil {
			return err
		}
	}
	if r.bad != nil {
		if r.rows == 0 {
			return r.bad
		}
		r.notes = append(r.notes, count(r.badRows, "line")+" at the end without a time left out")
	}
	return nil
}

func (r *csvReader) quoteError(err error) *Error {
	line := r.line
	if parse, ok := errors.AsType[*csv.ParseError](err); ok {
		line += parse.Line - 1
	}
	e := problem(ErrValue, atLine(line), "a quotation mark that opens or closes nothing", "Correct the line, or export without quotation marks")
	e.Cause = err
	return e
}

// skip reports lines that hold nothing: blank ones, the heading line over
// again, and a line of units below the first heading line.
func (r *csvReader) skip(cells []string, first bool) bool {
	if !slices.ContainsFunc(cells, holdsSomething) {
		return true
	}
	if r.repeats(cells, r.time) && r.repeats(cells, r.hr[0]) {
		return true
	}
	if !first || r.hr[0] >= len(cells) || strings.ContainsAny(cellOf(cells, r.time), "0123456789") {
		return false
	}
	if units[unitCell(cells[r.hr[0]])] != "bpm" {
		return false
	}
	for i := range min(len(cells), len(r.headings)) {
		if u := units[unitCell(cells[i])]; r.headings[i].unit == "" {
			r.headings[i].unit = u
		}
	}
	return true
}

func holdsSomething(cell string) bool {
	if cell != "" && cell[0] > ' ' && cell[0] < utf8.RuneSelf {
		return true
	}
	return strings.TrimSpace(cell) != ""
}

// repeats reports whether the cell of a column is its heading.
func (r *csvReader) repeats(cells []string, i int) bool {
	if i >= len(cells) {
		return false
	}
	if isClean(cells[i]) {
		return cells[i] == r.headings[i].text
	}
	return cleanText(cells[i]) == r.headings[i].text
}

func unitCell(cell string) string { return strings.ToLower(strings.Trim(cell, " \t()[]")) }

func cellOf(cells []string, i int) string {
	if i < 0 || i >= len(cells) {
		return ""
	}
	return cells[i]
}

// row takes one line of samples.
func (r *csvReader) row(cells []string, line int) *Error {
	cell := cellOf(cells, r.time)
	if isBlank(cell) {
		r.noTime.add(func() string { return atLine(line) })
		return nil
	}
	at, err := r.times.of(cell, cellOf(cells, r.date), line)
	if err != nil {
		if !errors.Is(err, errNoTime) {
			return err
		}
		if r.bad == nil {
			r.bad = err
		}
		r.badRows++
		return nil
	}
	if r.bad != nil {
		return r.bad
	}
	r.rows++
	if r.wide {
		for k, i := range r.hr {
			s := schemas.Sample{}
			if err := r.heartRate(&s, cells, i, line); err != nil {
				return err
			}
			if err := r.keep(r.traces[k], at, s, line); err != nil {
				return err
			}
		}
		return nil
	}
	t, err := r.traceOf(cells)
	if err != nil {
		return err
	}
	s := schemas.Sample{}
	if err := r.heartRate(&s, cells, r.hr[0], line); err != nil {
		return err
	}
	if v, ok := parseNumber(cellOf(cells, r.speed)); ok && v >= 0 && v < 1000 {
		s.Speed = float32(v)
		s.Have |= schemas.HasSpeed
	}
	if v, ok := parseNumber(cellOf(cells, r.cadence)); ok && v >= 0 && v < 1000 {
		s.Cadence = float32(v)
		s.Have |= schemas.HasCadence
	}
	if s := cellOf(cells, r.serial); s != "" {
		t.trace.Device.Serials = addSerial(t.trace.Device.Serials, cleanText(s))
	}
	return r.keep(t, at, s, line)
}

// heartRate reads a cell that must hold a heart rate or nothing.
func (r *csvReader) heartRate(s *schemas.Sample, cells []string, i, line int) *Error {
	cell := cellOf(cells, i)
	if isBlank(cell) {
		return nil
	}
	v, ok := plainNumber(cell, '.')
	if !ok {
		v, ok = parseNumber(strings.TrimSuffix(strings.TrimSpace(cell), "bpm"))
	}
	if !ok {
		return problem(ErrValue, fmt.Sprintf("line %d, column %d", line, i+1),
			fmt.Sprintf("%s in the column %s is no heart rate", quoted(cell), quoted(r.headings[i].text)),
			"Put a number in beats a minute there, or leave the cell empty")
	}
	if !r.sure && v != 0 && v != 254 && v != 255 && (v < 20 || v > 255) {
		return problem(ErrColumns, fmt.Sprintf("line %d, column %d", line, i+1),
			fmt.Sprintf("%s in the column %s is no heart rate, and no column is named as one", quoted(cell), quoted(r.headings[i].text)),
			"Name the heart-rate column HR, or each athlete's column 'Name (bpm)'")
	}
	s.HR = reading(v)
	return nil
}

// traceOf returns the trace that a line belongs to.
func (r *csvReader) traceOf(cells []string) (*csvTrace, *Error) {
	label := ""
	switch {
	case r.athlete >= 0:
		label = cellOf(cells, r.athlete)
	case r.first >= 0 || r.last >= 0:
		label = cellOf(cells, r.first) + " " + cellOf(cells, r.last)
	case len(r.traces) == 1:
		return r.traces[0], nil
	}
	if t := r.byAthlete[label]; t != nil {
		return t, nil
	}
	name := cleanText(label)
	for _, t := range r.traces { // the same name, spaced otherwise
		if t.trace.Part == name {
			return t, r.remember(label, t)
		}
	}
	if len(r.traces) >= r.b.Traces {
		return nil, tooManyTraces(r.b)
	}
	t := newCSVTrace(name, name)
	rows := 0 // of several athletes, nobody knows how many are whose
	if len(r.traces) == 0 && !r.long() {
		t.trace.Label = r.about.athlete
		if h := r.headings[r.hr[0]]; t.trace.Label == "" {
			t.trace.Label = h.athlete
		}
		rows = min(bytes.Count(r.text[r.offset:], []byte{'\n'}), r.b.samples)
	}
	t.reserve(rows)
	r.traces = append(r.traces, t)
	return t, r.remember(label, t)
}

// remember keeps the spellings of an athlete's name, not without end.
func (r *csvReader) remember(label string, t *csvTrace) *Error {
	if len(r.byAthlete) >= 4*r.b.Traces {
		return tooManyTraces(r.b)
	}
	r.byAthlete[strings.Clone(label)] = t
	return nil
}

func (r *csvReader) long() bool { return r.athlete >= 0 || r.first >= 0 || r.last >= 0 }

func (r *csvReader) keep(t *csvTrace, at int64, s schemas.Sample, line int) *Error {
	if !r.b.takeSample() {
		return r.b.samplesError(atLine(line))
	}
	t.trace.Samples = append(t.trace.Samples, s)
	t.times = append(t.times, r.times.follow(t, at))
	t.lines = append(t.lines, int32(line))
	return nil
}
