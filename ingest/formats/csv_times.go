package formats

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// errNoTime is the cause of errors about a cell that is no time at all: at the
// end of a file such lines are a summary.
var errNoTime = errors.New("no time in the cell")

// csvTimes turns the time cells of a CSV file into times. Depending on form
// they are instants, or clock times to be resolved in the zone.
type csvTimes struct {
	r     *csvReader
	form  timeForm
	order DateOrder
	// number is set when elapsed times are bare numbers.
	number bool
	// base is what elapsed times count from, an instant; or the midnight of
	// clock times without a date, as if UTC.
	base  int64
	notes []string
	// minute is the last date and time up to its seconds, minuteNS it parsed.
	minute   string
	minuteNS int64
	// The last date cell, parsed: it seldom changes.
	dateCell string
	dateNS   int64
}

const noDateDo = "Put the date into the file or its path, or add a column named Date"

func newCSVTimes(r *csvReader) csvTimes { return csvTimes{r: r, order: r.opt.DateOrder} }

// of returns the time of a line.
func (t *csvTimes) of(cell, dateCell string, line int) (int64, *Error) {
	h := &t.r.headings[t.r.time]
	c, ok := t.sameMinute(cell)
	if !ok {
		c, ok = parseCellTime(cell, h.unit, t.order)
		t.keepMinute(cell, c, ok)
	}
	if !ok {
		e := problem(ErrTime, atLine(line), fmt.Sprintf("%s in the column %s is no time", quoted(cell), quoted(h.text)),
			"Write times as 10:04:59, as 2006-01-02T10:04:59Z, or in seconds since the start")
		e.Cause = errNoTime
		return 0, e
	}
	if c.ambiguous {
		if err := t.settleOrder(t.r.time, cell, line); err != nil {
			return 0, err
		}
		c, _ = parseCellTime(cell, h.unit, t.order)
	}
	if t.form == noForm {
		if err := t.decide(c, cell, dateCell, line); err != nil {
			return 0, err
		}
	}
	if t.form == elapsedForm && c.form == clockForm || h.unit == "utc" && c.form == wallForm {
		c.form = t.form
	}
	if c.form != t.form {
		return 0, problem(ErrTime, atLine(line), fmt.Sprintf("%s is another kind of time than the lines before hold", quoted(cell)),
			"Write all times in one way")
	}
	switch t.form {
	case elapsedForm:
		return t.base + c.ns, nil
	case clockForm:
		if t.r.date >= 0 {
			day, err := t.day(dateCell, line)
			return day + c.ns, err
		}
		return t.base + c.ns, nil
	default:
		return c.ns, nil
	}
}

// toMinute is the length of 2006-01-02T15:04: and its seconds are two digits more.
const toMinute = len("2006-01-02T15:04:")

// sameMinute reads a date and time of the minute that the one before was of.
func (t *csvTimes) sameMinute(cell string) (cellTime, bool) {
	if len(cell) != toMinute+2 || t.minute != cell[:toMinute] {
		return cellTime{}, false
	}
	sec := digits(cell[toMinute:])
	return cellTime{form: wallForm, ns: t.minuteNS + int64(sec)*int64(time.Second)}, sec >= 0 && sec <= 59
}

// keepMinute keeps the minute of a cell that was read as such a date and time.
func (t *csvTimes) keepMinute(cell string, c cellTime, ok bool) {
	if !ok || len(cell) != toMinute+2 || cell[4] != '-' || c.form != wallForm || c.ambiguous {
		return
	}
	if _, _, iso := parseISO([]byte(cell)); iso {
		t.minute = cell[:toMinute]
		t.minuteNS = c.ns - int64(digits(cell[toMinute:]))*int64(time.Second)
	}
}

// decide settles what kind of times the column holds, by its first.
func (t *csvTimes) decide(c cellTime, cell, dateCell string, line int) *Error {
	h := t.r.headings[t.r.time]
	form := c.form
	switch {
	case form == wallForm && h.unit == "utc":
		form = instantForm
	case form == clockForm && h.kind == elapsedColumn:
		form = elapsedForm
	case form == clockForm && h.kind != clockColumn && (c.colons == 1 || c.ns < int64(5*time.Second)):
		form = elapsedForm
		t.notes = append(t.notes, fmt.Sprintf("the column %s begins with %s and was read as time since the start", quoted(h.text), quoted(cell)))
	case form == clockForm && c.colons == 1:
		return problem(ErrTime, atLine(line), fmt.Sprintf("%s has no seconds", quoted(cell)), "Write clock times as 10:04:59")
	case form == noForm,
		form == elapsedForm && h.kind != elapsedColumn && c.ns > int64(30000*time.Second):
		return problem(ErrTime, atLine(line),
			fmt.Sprintf("%s in the column %s is neither seconds since the start nor Unix time", quoted(cell), quoted(h.text)),
			"Format the column as date and time before saving as CSV")
	}
	t.form, t.number = form, c.number
	switch form {
	case elapsedForm:
		return t.elapsedBase(dateCell, line)
	case clockForm:
		if t.r.date >= 0 {
			return nil
		}
		day, ok, err := t.baseDay()
		if err == nil && !ok {
			err = problem(ErrTime, atLine(line), "clock times without a date", noDateDo)
		}
		t.base = day
		return err
	default:
		return nil
	}
}

// day returns the midnight, as if UTC, of a cell of the date column.
func (t *csvTimes) day(cell string, line int) (int64, *Error) {
	if cell == t.dateCell && cell != "" {
		return t.dateNS, nil
	}
	c, ok := parseDateTime(strings.TrimSpace(cell), t.order)
	if ok && c.ambiguous {
		if err := t.settleOrder(t.r.date, cell, line); err != nil {
			return 0, err
		}
		c, ok = parseDateTime(strings.TrimSpace(cell), t.order)
	}
	if !ok {
		e := problem(ErrTime, atLine(line), fmt.Sprintf("%s in the column %s is no date", quoted(cell), quoted(t.r.headings[t.r.date].text)),
			"Write dates as 2006-01-02")
		e.Cause = errNoTime
		return 0, e
	}
	t.dateCell, t.dateNS = strings.Clone(cell), midnight(c.ns)
	return t.dateNS, nil
}

func midnight(ns int64) int64 {
	const day = int64(24 * time.Hour)
	return ns - (ns%day+day)%day
}

// baseDay returns the day of clock times without one: the preamble's, else
// that of Options.Date.
func (t *csvTimes) baseDay() (int64, bool, *Error) {
	for _, text := range [...]string{t.r.about.date, t.r.about.start} {
		c, ok := parseDateTime(text, t.order)
		if !ok {
			continue
		}
		if c.ambiguous {
			if err := t.settleOrder(-1, text, t.r.line); err != nil {
				return 0, false, err
			}
			c, _ = parseDateTime(text, t.order)
		}
		return midnight(c.ns), true, nil
	}
	d := t.r.opt.Date
	if d.IsZero() {
		return 0, false, nil
	}
	y, m, day := d.Date()
	return time.Date(y, m, day, 0, 0, 0, 0, time.UTC).UnixNano(), true, nil
}

// elapsedBase finds the instant that elapsed times count from.
func (t *csvTimes) elapsedBase(dateCell string, line int) *Error {
	start, isStart := parseCellTime(t.r.about.start, "", t.order)
	if isStart && start.form == instantForm && !start.number {
		t.base = start.ns
		return nil
	}
	var day int64
	var err *Error
	ok := true
	if t.r.date >= 0 && !isBlank(dateCell) {
		day, err = t.day(dateCell, line)
	} else {
		day, ok, err = t.baseDay()
	}
	if err != nil {
		return err
	}
	if !ok {
		return problem(ErrTime, atLine(line), "times since the start, and no date of the start", noDateDo)
	}
	switch d := t.r.opt.Date; {
	case isStart && start.form == wallForm:
		day = midnight(day) + start.ns - midnight(start.ns)
	case isStart && start.form == clockForm:
		day += start.ns
	case !d.IsZero() && (d.Hour() != 0 || d.Minute() != 0 || d.Second() != 0):
		day += int64(d.Sub(time.Date(d.Year(), d.Month(), d.Day(), 0, 0, 0, 0, d.Location())))
	default:
		t.notes = append(t.notes, "the file does not say when it started: its times count from midnight")
	}
	w := wallClock{zone: t.zone()}
	a, _, n := w.instants(day)
	if n == 0 {
		return w.gapError(day, line)
	}
	t.base = a
	return nil
}

func (t *csvTimes) zone() *time.Location {
	if t.r.opt.Zone == nil {
		return time.UTC
	}
	return t.r.opt.Zone
}

// settleOrder finds out whether the file's dates put the day or the month
// first: from another date of the column, then from Options.Date.
func (t *csvTimes) settleOrder(column int, cell string, line int) *Error {
	if column >= 0 {
		t.order = t.orderOf(column)
	}
	if d := t.r.opt.Date; t.order == Undecided && !d.IsZero() {
		for _, o := range [...]DateOrder{DayFirst, MonthFirst} {
			if c, ok := parseDateTime(strings.TrimSpace(cell), o); ok {
				y, m, day := time.Unix(0, c.ns).UTC().Date()
				if y == d.Year() && m == d.Month() && day == d.Day() {
					t.order = o
				}
			}
		}
	}
	if t.order != Undecided {
		return nil
	}
	return problem(ErrTime, atLine(line), fmt.Sprintf("%s has day and month in an order that cannot be told", quoted(cell)),
		"Write dates as 2006-01-02, or put the date in the path")
}

// orderOf looks through a column for a date with a day beyond the twelfth, or
// clock times with am and pm, which go with the month first.
func (t *csvTimes) orderOf(column int) DateOrder {
	lines, err := t.r.lines()
	for err == nil {
		var cells []string
		if cells, _, err = lines.read(); err != nil {
			break
		}
		cell := strings.TrimSpace(cellOf(cells, column))
		if _, half := cutHalf(cell); half != 0 {
			return MonthFirst
		}
		switch first, second := leadingNumbers(cell); {
		case first > 12 && first <= 31:
			return DayFirst
		case first <= 12 && second > 12 && second <= 31:
			return MonthFirst
		}
	}
	return Undecided
}

// leadingNumbers returns the two numbers that a date begins with, 0 for want of them.
func leadingNumbers(s string) (first, second int) {
	i := strings.IndexAny(s, "/-")
	if i <= 0 || i > 2 {
		return 0, 0
	}
	rest := s[i+1:]
	j := strings.IndexAny(rest, "/-")
	if j <= 0 || j > 2 {
		return 0, 0
	}
	return digits(s[:i]), digits(rest[:j])
}

// follow lets clock times without a date run past midnight.
func (t *csvTimes) follow(tr *csvTrace, at int64) int64 {
	if t.form != clockForm || t.r.date >= 0 {
		return at
	}
	const half, day = int64(12 * time.Hour), int64(24 * time.Hour)
	at += tr.shift
	if tr.begun {
		switch {
		case at < tr.last-half:
			at += day
			tr.shift += day
		case at > tr.last+half && tr.shift > 0:
			at -= day
			tr.shift -= day
		}
	}
	tr.begun, tr.last = true, at
	return at
}
