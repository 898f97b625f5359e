package formats

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// timeForm is how a CSV column writes its times.
type timeForm int

const (
	noForm      timeForm = iota
	instantForm          // with a zone, or Unix time: an instant
	wallForm             // date and clock time without a zone
	clockForm            // clock time only
	elapsedForm          // time since the start
)

// cellTime is one cell of a time column, taken apart without judgement.
type cellTime struct {
	form timeForm
	// ns is Unix nanoseconds of an instant; of a wall time as if it were UTC;
	// else nanoseconds since midnight or the start.
	ns int64
	// number is set when the cell was a bare number, colons counts its colons.
	number bool
	colons int
	// ambiguous is set when day and month could be swapped.
	ambiguous bool
}

// parseCellTime reads a cell of a time column. Clock times and elapsed times
// look alike: both come back as clockForm (two or three numbers with colons)
// and the column decides.
func parseCellTime(cell, unit string, order DateOrder) (cellTime, bool) {
	if c, ok := plainClock(cell); ok {
		return c, true
	}
	s := strings.TrimSpace(cell)
	if s == "" || len(s) > 64 {
		return cellTime{}, false
	}
	if len(s) >= 19 && s[4] == '-' {
		if at, zoned, ok := parseISO([]byte(s)); ok {
			return stampOf(at, zoned), true
		}
	}
	if strings.IndexByte(s, ':') >= 0 {
		if c, ok := parseClock(s); ok {
			return c, true
		}
	}
	if v, ok := parseNumber(s); ok {
		return numberTime(v, unit), true
	}
	if at, zoned, ok := parseXMLTime([]byte(s)); ok {
		return stampOf(at, zoned), true
	}
	return parseDateTime(s, order)
}

func stampOf(at time.Time, zoned bool) cellTime {
	if !plausibleTime(at) {
		return cellTime{form: instantForm, ns: math.MinInt64}
	}
	if zoned {
		return cellTime{form: instantForm, ns: at.UnixNano()}
	}
	return cellTime{form: wallForm, ns: at.UnixNano()}
}

// numberTime reads a bare number: Unix time in s, ms, µs or ns by its size,
// else time since the start in the heading's unit, seconds when it has none.
func numberTime(v float64, unit string) cellTime {
	scale := float64(time.Second)
	switch unit {
	case "ms":
		scale = float64(time.Millisecond)
	case "min":
		scale = float64(time.Minute)
	}
	for _, e := range [...]struct{ low, scale float64 }{{1e17, 1}, {1e14, 1e3}, {1e11, 1e6}, {9e8, 1e9}} {
		if v >= e.low && v < e.low*50 && (unit != "ms" || e.scale <= 1e6) {
			// To the microsecond: a float64 holds no more of a Unix time.
			return cellTime{form: instantForm, ns: int64(math.Round(v*e.scale/1e3)) * 1e3, number: true}
		}
	}
	if v < 0 || v*scale > float64(1000*time.Hour) {
		return cellTime{form: noForm, number: true}
	}
	return cellTime{form: elapsedForm, ns: int64(math.Round(v * scale)), number: true}
}

// parseClock reads h:mm:ss[.f] with or without am and pm, and m:ss[.f].
func parseClock(s string) (cellTime, bool) {
	if c, ok := plainClock(s); ok {
		return c, true
	}
	body, half := cutHalf(s)
	colons := strings.Count(body, ":")
	if colons != 1 && colons != 2 || strings.ContainsAny(body, "-/ T") {
		return cellTime{}, false
	}
	parts := strings.SplitN(body, ":", 3)
	seconds, ok := parseNumber(parts[len(parts)-1])
	if !ok || seconds < 0 || seconds >= 61 {
		return cellTime{}, false
	}
	whole := 0
	for _, p := range parts[:len(parts)-1] {
		n := digits(p)
		if p == "" || len(p) > 4 || n < 0 {
			return cellTime{}, false
		}
		whole = whole*60 + n
	}
	if colons == 2 && digits(parts[1]) > 59 {
		return cellTime{}, false
	}
	ns := int64(whole)*60*int64(time.Second) + int64(math.Round(seconds*1e9))
	if half != 0 {
		if colons == 1 { // 10:05 PM has no seconds
			ns *= 60
			colons = 2
		}
		hour := ns / int64(time.Hour)
		switch {
		case hour < 1 || hour > 12:
			return cellTime{}, false
		case half == 'a' && hour == 12:
			ns -= 12 * int64(time.Hour)
		case half == 'p' && hour < 12:
			ns += 12 * int64(time.Hour)
		}
	}
	return cellTime{form: clockForm, ns: ns, colons: colons}, true
}

// plainClock reads hh:mm:ss, as most have it.
func plainClock(s string) (cellTime, bool) {
	if len(s) != 8 || s[2] != ':' || s[5] != ':' {
		return cellTime{}, false
	}
	h, m, sec := digits(s[:2]), digits(s[3:5]), digits(s[6:])
	if h < 0 || m < 0 || m > 59 || sec < 0 || sec > 60 {
		return cellTime{}, false
	}
	return cellTime{form: clockForm, ns: int64(h*3600+m*60+sec) * int64(time.Second), colons: 2}, true
}

// cutHalf parts a clock time from its am or pm: 'a', 'p' or 0.
func cutHalf(s string) (string, byte) {
	low := strings.ToLower(s)
	for _, m := range [...]string{"a.m.", "p.m.", "am", "pm"} {
		if strings.HasSuffix(low, m) {
			return strings.TrimSpace(s[:len(s)-len(m)]), m[0]
		}
	}
	return s, 0
}

// parseDateTime reads a date, with or without a clock time behind it.
func parseDateTime(s string, order DateOrder) (cellTime, bool) {
	datePart, clockPart := s, ""
	for _, sep := range [...]string{"T", ", ", " "} {
		// The last separator before the first colon parts date and clock time.
		before, _, ok := strings.Cut(s, ":")
		if !ok {
			break
		}
		if i := strings.LastIndex(before, sep); i > 0 {
			datePart, clockPart = s[:i], s[i+len(sep):]
			break
		}
	}
	day, ambiguous, ok := parseDate(strings.TrimSpace(strings.TrimSuffix(datePart, ",")), order)
	if !ok {
		return cellTime{}, false
	}
	c := stampOf(day, false)
	c.ambiguous = ambiguous
	if clockPart == "" || c.form == instantForm {
		return c, true
	}
	clockPart, shift, zoned := cutZone(clockPart)
	clock, ok := parseClock(clockPart)
	if !ok {
		return cellTime{}, false
	}
	if clock.colons == 1 { // behind a date, two numbers are hours and minutes
		clock.ns *= 60
	}
	if clock.ns >= int64(24*time.Hour)+int64(time.Second) {
		return cellTime{}, false
	}
	c.ns += clock.ns - shift
	if zoned {
		c.form = instantForm
	}
	return c, true
}

// cutZone parts a clock time from Z, UTC or an offset such as +02:00.
func cutZone(s string) (clock string, shift int64, zoned bool) {
	s = strings.TrimSpace(s)
	for _, z := range [...]string{"Z", "UTC", "GMT"} {
		if before, ok := strings.CutSuffix(s, z); ok {
			return strings.TrimSpace(before), 0, true
		}
	}
	i := strings.LastIndexAny(s, "+-")
	if i <= 0 {
		return s, 0, false
	}
	t, err := time.Parse("-0700", strings.ReplaceAll(s[i:], ":", ""))
	if err != nil {
		return s, 0, false
	}
	_, offset := t.Zone()
	return strings.TrimSpace(s[:i]), int64(offset) * int64(time.Second), true
}

// namedDates are layouts with the month spelled in English.
var namedDates = [...]string{"2 Jan 2006", "2-Jan-2006", "2-Jan-06", "2 January 2006", "Jan 2, 2006", "January 2, 2006", "2006-Jan-02"}

// parseDate reads a date as midnight UTC, and whether day and month could be
// swapped. Dates with dots are day first; a year in front is year first.
func parseDate(s string, order DateOrder) (day time.Time, ambiguous, ok bool) {
	if len(s) == 8 && digits(s) > 19000000 {
		s = s[:4] + "-" + s[4:6] + "-" + s[6:]
	}
	sep := strings.IndexAny(s, "-/.")
	if sep > 0 {
		if p := strings.Split(strings.TrimSuffix(s, "."), s[sep:sep+1]); len(p) == 3 {
			a, b, c := digits(p[0]), digits(p[1]), digits(p[2])
			if a >= 0 && b >= 0 && c >= 0 && p[0] != "" && p[1] != "" && p[2] != "" {
				return numericDate(a, b, c, len(p[0]) == 4, s[sep] == '.', len(p[2]), order)
			}
		}
	}
	for _, layout := range namedDates {
		if t, err := time.Parse(layout, s); err == nil {
			return t, false, true
		}
	}
	return time.Time{}, false, false
}

func numericDate(a, b, c int, yearFirst, dots bool, yearDigits int, order DateOrder) (time.Time, bool, bool) {
	if yearFirst {
		return makeDate(a, b, c)
	}
	if yearDigits == 2 {
		c += 2000
	} else if yearDigits != 4 {
		return time.Time{}, false, false
	}
	switch {
	case dots || a > 12:
		return makeDate(c, b, a)
	case b > 12:
		return makeDate(c, a, b)
	case order == MonthFirst:
		return makeDate(c, a, b)
	case order == DayFirst:
		return makeDate(c, b, a)
	}
	t, _, ok := makeDate(c, b, a)
	return t, a != b, ok
}

func makeDate(year, month, day int) (time.Time, bool, bool) {
	t := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	return t, false, month >= 1 && month <= 12 && day >= 1 && t.Day() == day
}

// parseNumber reads a number with a decimal point or a decimal comma.
func parseNumber(cell string) (float64, bool) {
	if v, ok := plainNumber(cell, '.'); ok {
		return v, true
	}
	s := strings.TrimSpace(cell)
	if v, ok := plainNumber(s, '.'); ok {
		return v, true
	}
	if s == "" || len(s) > 40 || s[len(s)-1] > '9' || s[0] > '9' {
		return 0, false // nothing, or a word such as NaN or Inf
	}
	if strings.IndexByte(s, ',') >= 0 {
		if strings.Count(s, ",") > 1 || strings.IndexByte(s, '.') >= 0 {
			return 0, false
		}
		if v, ok := plainNumber(s, ','); ok {
			return v, true
		}
		s = strings.Replace(s, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil
}

// plainNumber reads digits with at most one decimal mark between them, as
// nearly all cells hold. A float64 holds up to 15 digits and the power of ten
// exactly, so their quotient is the nearest number, as strconv finds it.
func plainNumber[T string | []byte](s T, mark byte) (float64, bool) {
	if len(s) > 16 {
		return 0, false
	}
	n, at := int64(0), -1
	for i := range len(s) {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			n = n*10 + int64(c-'0')
		case c == mark && at < 0 && i > 0:
			at = i
		default:
			return 0, false
		}
	}
	if at < 0 {
		return float64(n), len(s) > 0 && len(s) < 16
	}
	return float64(n) / powersOfTen[len(s)-1-at], at < len(s)-1
}

var powersOfTen = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// isBlank reports whether a cell says that there is no value.
func isBlank(cell string) bool {
	if cell != "" && cell[0] >= '0' && cell[0] <= '9' {
		return false
	}
	switch strings.ToLower(strings.TrimSpace(cell)) {
	case "", "-", "--", "---", "–", "—", ".", "na", "n/a", "#n/a", "#na", "nan", "null", "nil", "none", "nd", "n.a.", "\\n":
		return true
	}
	return false
}
