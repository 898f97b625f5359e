package formats

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime/debug"
	"strings"
	"time"
	"unicode/utf8"

	"canter.example/schemas"
)

// DecodeSeries reads a CSV of daily values: a date on each line, mostly an
// athlete, and a column for each series, such as sleep or session RPE; also
// those inside a ZIP. It is told from a CSV of samples by its heading line: a
// date, no heart rate, no other channel of a recording. found is false for
// everything else, which is then [Decode]'s alone. Call Decode first: what it
// can read is no series, but in a ZIP, which may hold both.
//
// Rows come in the order of the file, at most one a day, series and athlete
// (or squad): of several lines the last stands, but for session RPE and
// minutes, which are summed over the day's sessions. RPE and minutes on one
// line make the series [schemas.SessionRPE]. Columns without any number are
// text and left out; a formula is never worked out.
//
// Errors are [*Error] and name line and column. For a ZIP there may be rows
// beside the error: those of the other entries. DecodeSeries never panics.
func DecodeSeries(name string, content []byte, opt Options) (rows []schemas.SeriesRow, found bool, err error) {
	b := newBudget(opt.Limits)
	defer func() {
		if r := recover(); r != nil {
			rows, found, err = nil, true, &Error{
				File: name, Kind: ErrDamaged, What: "the reader gave up on this content",
				Do:    "Export the values again; if it happens again, report it with the file",
				Cause: fmt.Errorf("panic: %v\n%s", r, debug.Stack()),
			}
		}
	}()
	rows, found, problem := decodeSeries(content, opt, b, 0)
	if problem != nil {
		return rows, found, problem.inFile(name)
	}
	return rows, found, nil
}

func decodeSeries(content []byte, opt Options, b *budget, nesting int) ([]schemas.SeriesRow, bool, *Error) {
	switch {
	case len(content) == 0:
		return nil, false, nil
	case isZIP(content):
		return seriesInZIP(content, opt, b, nesting)
	case isFIT(content) || int64(len(content)) > b.Bytes:
		return nil, false, nil
	}
	text, _, err := toUTF8(content)
	if err != nil {
		return nil, false, nil
	}
	if start := bytes.TrimLeft(text, " \t\r\n"); len(start) == 0 || strings.IndexByte("<{[", start[0]) >= 0 {
		return nil, false, nil
	}
	if !utf8.Valid(text) {
		text = fromWindows1252(text)
	}
	if longLine(text, b.Token) > 0 {
		return nil, false, nil
	}
	l := findSeriesLayout(text)
	if l == nil {
		return nil, false, nil
	}
	if l.twice > 0 {
		return nil, true, problem(ErrColumns, fmt.Sprintf("line %d, column %d", l.line, l.twice+1),
			fmt.Sprintf("a second column of the series %s", l.headings[l.twice].series), "Keep one of them, or name them apart")
	}
	r := seriesReader{seriesLayout: l, opt: opt, b: b}
	if err := r.read(text); err != nil {
		return nil, true, err
	}
	if l.timed && r.dense() {
		return nil, false, nil // samples of a recording
	}
	rows, err := r.rows()
	return rows, true, err
}

// seriesInZIP reads the entries that hold series. When no other entry is a
// recording that can be read, the first that can't is the error: Decode's own
// would be about the series.
func seriesInZIP(content []byte, opt Options, b *budget, nesting int) (rows []schemas.SeriesRow, found bool, first *Error) {
	archive, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
	if nesting >= b.Nesting || err != nil && !errors.Is(err, zip.ErrInsecurePath) || len(archive.File) > b.entries || isWorkbook(archive.File) {
		return nil, false, nil
	}
	b.entries -= len(archive.File)
	z := zipReader{opt: opt, b: b, nesting: nesting, names: entryNames(archive.File)}
	var unread *Error
	recording := false
	for i, f := range archive.File {
		if isClutter(f.Name) {
			continue
		}
		entry, problem := z.unpack(f)
		if problem != nil {
			if unread == nil {
				unread = problem.within("entry " + z.names[i])
			}
			if b.exhausted() {
				break
			}
			continue
		}
		inside, series, problem := decodeSeries(entry, opt, b, nesting+1)
		found = found || series
		if !series && !recording {
			_, _, problem := decode(entry, opt, b, nesting+1)
			recording = problem == nil
			if problem != nil && unread == nil {
				unread = problem.within("entry " + z.names[i])
			}
			continue
		}
		if problem != nil && first == nil {
			first = problem.within("entry " + z.names[i])
		}
		for k := range inside {
			inside[k].Part = strings.TrimSuffix(z.names[i]+"/"+inside[k].Part, "/")
		}
		rows = append(rows, inside...)
	}
	switch {
	case !found:
		return nil, false, nil
	case first == nil && !recording:
		return rows, true, unread
	}
	return rows, true, first
}

// seriesReader reads the lines below the heading line.
type seriesReader struct {
	*seriesLayout
	opt   Options
	b     *budget
	lines []seriesLine
	order DateOrder
}

type seriesLine struct {
	cells []string
	line  int
}

// maxADay is how many lines of one athlete and day a file of daily values has
// at most; more are samples.
const maxADay = 24

func (r *seriesReader) read(text []byte) *Error {
	c := csv.NewReader(bytes.NewReader(text[r.offset:]))
	c.Comma = rune(r.comma)
	c.FieldsPerRecord = -1
	_, err := c.Read() // the heading line
	for err == nil {
		var cells []string
		if cells, err = c.Read(); err != nil {
			break
		}
		n, _ := c.FieldPos(0)
		line := r.line - 1 + n
		blank := true
		for _, cell := range cells {
			blank = blank && strings.TrimSpace(cell) == ""
		}
		if blank {
			continue
		}
		if !r.b.takeSample() {
			return r.b.samplesError(atLine(line))
		}
		r.lines = append(r.lines, seriesLine{cells, line})
	}
	if errors.Is(err, io.EOF) {
		return nil
	}
	line := r.line
	if parse, ok := errors.AsType[*csv.ParseError](err); ok {
		line += parse.Line - 1
	}
	e := problem(ErrValue, atLine(line), "a quotation mark that opens or closes nothing", "Correct the line, or export without quotation marks")
	e.Cause = err
	return e
}

// dense reports whether some athlete has more lines a day than daily values do.
func (r *seriesReader) dense() bool {
	count := map[string]int{}
	for _, l := range r.lines {
		day, _, _ := strings.Cut(strings.Replace(strings.TrimSpace(cellOf(l.cells, r.date)), "T", " ", 1), " ")
		key := r.who(l.cells) + "\x00" + day
		if count[key]++; count[key] > maxADay {
			return true
		}
	}
	return false
}

// seriesKey is what one value is kept by.
type seriesKey struct{ athlete, squad, date, series string }

// rows makes the values.
func (r *seriesReader) rows() ([]schemas.SeriesRow, *Error) {
	columns := r.numeric()
	r.order = r.opt.DateOrder
	var out []schemas.SeriesRow
	at := map[seriesKey]int{}
	for _, l := range r.lines {
		values, err := r.valuesOf(l, columns)
		if err != nil {
			return nil, err
		}
		for _, v := range values {
			k := seriesKey{v.Athlete, v.Squad, v.Date, v.Series}
			i, again := at[k]
			switch {
			case !again:
				at[k] = len(out)
				out = append(out, v)
			case schemas.SummedSeries(v.Series):
				out[i].Value += v.Value
			default:
				out[i] = v
			}
		}
	}
	if len(out) == 0 {
		return nil, problem(ErrNoSamples, "", "daily series without a single value", "Fill in the columns, or export the values again")
	}
	return out, nil
}

// maxRPE is the end of the longest scale of exertion in use (CR100; from
// memory). A column of RPE that goes beyond it holds RPE × minutes.
const maxRPE = 100

// numeric returns the series columns that hold at least one number, or are
// named as a known series and hold something that was meant as one.
func (r *seriesReader) numeric() []int {
	var out []int
	for _, i := range r.series {
		highest, any := 0.0, false
		for _, l := range r.lines {
			cell := strings.TrimSpace(cellOf(l.cells, i))
			v, ok := seriesNumber(cell)
			if ok {
				highest = max(highest, v)
			}
			any = any || ok || r.headings[i].word && cell != "" && strings.IndexByte("0123456789=+", cell[0]) >= 0
		}
		if any {
			out = append(out, i)
		}
		if h := &r.headings[i]; h.series == rpeSeries && highest > maxRPE {
			h.series = schemas.SessionRPE
		}
	}
	return out
}

// valuesOf reads the values of one line.
func (r *seriesReader) valuesOf(l seriesLine, columns []int) ([]schemas.SeriesRow, *Error) {
	var out []schemas.SeriesRow
	var rpe, minutes schemas.Number
	product := true
	for _, i := range columns {
		cell := cellOf(l.cells, i)
		if isBlank(cell) {
			continue
		}
		h := &r.headings[i]
		v, ok := seriesNumber(cell)
		if !ok {
			return nil, problem(ErrValue, r.place(l, i), fmt.Sprintf("%s in the column %s is no number", quoted(cell), quoted(h.text)),
				"Put a number there, or leave the cell empty")
		}
		name := h.series
		switch name {
		case rpeSeries:
			rpe = schemas.Num(v)
		case minutesSeries:
			v *= h.minutes
			minutes = schemas.Num(v)
		case schemas.SessionRPE:
			product = false
		}
		out = append(out, schemas.SeriesRow{Series: name, Value: v, Unit: h.unit, Line: l.line})
	}
	if len(out) == 0 {
		return nil, nil
	}
	if a, ok := rpe.Get(); ok && product {
		if m, ok := minutes.Get(); ok {
			out = append(out, schemas.SeriesRow{Series: schemas.SessionRPE, Value: a * m, Unit: "au", Line: l.line})
		}
	}
	date, err := r.day(l)
	if err != nil {
		return nil, err
	}
	athlete, squad := r.who(l.cells), cleanText(cellOf(l.cells, r.squad))
	if wholeSquad[foldWords(athlete)] {
		athlete = ""
	} else if athlete == "" && r.named() && squad == "" {
		return nil, problem(ErrValue, r.place(l, max(r.athlete, r.first, r.last)), "values of nobody: the athlete is missing",
			"Put the athlete's id or name there, or 'squad' for a value of all")
	}
	for i := range out {
		out[i].Athlete, out[i].Squad, out[i].Date = athlete, squad, date
	}
	return out, nil
}

func (r *seriesReader) place(l seriesLine, column int) string {
	return fmt.Sprintf("line %d, column %d", l.line, column+1)
}

// who returns the athlete as a line names them, "" when it does not.
func (r *seriesReader) who(cells []string) string {
	if r.athlete >= 0 {
		return cleanText(cellOf(cells, r.athlete))
	}
	return cleanText(cellOf(cells, r.first) + " " + cellOf(cells, r.last))
}

func (r *seriesReader) named() bool { return r.athlete >= 0 || r.first >= 0 || r.last >= 0 }

// day returns the local date of a line.
func (r *seriesReader) day(l seriesLine) (string, *Error) {
	cell := strings.TrimSpace(cellOf(l.cells, r.date))
	at, ok := r.dateTime(cell)
	if ok && at.ambiguous && r.order == Undecided {
		if r.order = r.dateOrder(); r.order == Undecided {
			return "", problem(ErrTime, r.place(l, r.date), fmt.Sprintf("%s has day and month in an order that cannot be told", quoted(cell)),
				"Write dates as 2006-01-02")
		}
		at, ok = r.dateTime(cell)
	}
	if !ok || at.form != wallForm && at.form != instantForm || at.number {
		return "", problem(ErrTime, r.place(l, r.date), fmt.Sprintf("%s in the column %s is no date", quoted(cell), quoted(r.headings[r.date].text)),
			"Write dates as 2006-01-02")
	}
	t := time.Unix(0, at.ns).UTC()
	if at.form == instantForm && r.opt.Zone != nil {
		t = t.In(r.opt.Zone)
	}
	if !plausibleTime(t) {
		return "", problem(ErrTime, r.place(l, r.date), fmt.Sprintf("%s is not within 2000 to 2099", quoted(cell)), "Correct the date")
	}
	return t.Format(time.DateOnly), nil
}

func (r *seriesReader) dateTime(cell string) (cellTime, bool) {
	if day, ambiguous, ok := parseDate(cell, r.order); ok {
		c := stampOf(day, false)
		c.ambiguous = ambiguous
		return c, true
	}
	return parseCellTime(cell, "", r.order)
}

// dateOrder looks through the dates for a day beyond the twelfth.
func (r *seriesReader) dateOrder() DateOrder {
	for _, l := range r.lines {
		switch first, second := leadingNumbers(strings.TrimSpace(cellOf(l.cells, r.date))); {
		case first > 12 && first <= 31:
			return DayFirst
		case first >= 1 && first <= 12 && second > 12 && second <= 31:
			return MonthFirst
		}
	}
	return Undecided
}

// seriesNumber reads a number that a day can have; with a per cent sign it
// keeps its value.
func seriesNumber(cell string) (float64, bool) {
	v, ok := parseNumber(strings.TrimSuffix(strings.TrimSpace(cell), "%"))
	return v, ok && math.Abs(v) <= 1e9
}
