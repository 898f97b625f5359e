package club

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"canter.example/schemas"
)

// ErrWord is wrapped by the errors of the Parse… functions of this package:
// the text is not what it should be. The message says how to write it.
var ErrWord = errors.New("not understood")

// wordError says of a text what it is not, and how to write it.
type wordError struct{ what, how string }

func (e *wordError) Error() string { return e.what + ": " + e.how }

func (e *wordError) Unwrap() error { return ErrWord }

func notA(word, kind, how string) error {
	return &wordError{quote(word) + " is not " + kind, how}
}

var (
	durationPart = regexp.MustCompile(`^\s*(\d+(?:\.\d+)?)\s*(ms|min|w|d|h|m|s)`)
	units        = map[string]time.Duration{
		"ms": time.Millisecond, "s": time.Second, "m": time.Minute, "min": time.Minute,
		"h": time.Hour, "d": 24 * time.Hour, "w": 7 * 24 * time.Hour,
	}
)

// ParseDuration reads a length of time as people write it: "60s", "4m",
// "1h30m", "1 h 30 min", "8d", "52w". A day is 24 hours. A number without a
// unit is refused, as it could be seconds or minutes. Errors wrap [ErrWord].
func ParseDuration(s string) (time.Duration, error) {
	const kind, how = "a length of time", "write it with its unit, such as 60s, 4m, 1h30m or 365d"
	rest, total, smaller := s, 0.0, time.Duration(math.MaxInt64)
	for strings.TrimSpace(rest) != "" {
		m := durationPart.FindStringSubmatch(rest)
		if m == nil || units[m[2]] >= smaller {
			return 0, notA(s, kind, how)
		}
		n, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			return 0, notA(s, kind, how)
		}
		smaller = units[m[2]]
		total += n * float64(smaller)
		rest = rest[len(m[0]):]
	}
	if smaller == math.MaxInt64 {
		return 0, notA(s, kind, how)
	}
	if total > float64(100*365*24*time.Hour) {
		return 0, notA(s, kind, "it is longer than a hundred years")
	}
	return time.Duration(math.Round(total)), nil
}

// FormatDuration writes a duration the way [ParseDuration] reads it, without
// the zeros of time.Duration.String: "4m", "1h30m", "365d".
func FormatDuration(d time.Duration) string {
	if d < 0 {
		return "-" + FormatDuration(-d)
	}
	if d == 0 {
		return "0s"
	}
	var b strings.Builder
	for _, u := range []string{"d", "h", "m", "s", "ms"} {
		if n := d / units[u]; n > 0 {
			fmt.Fprintf(&b, "%d%s", n, u)
			d -= n * units[u]
		}
	}
	if b.Len() == 0 {
		return d.String()
	}
	return b.String()
}

// ParseHRex reads an HRex method with its window: "final-mean:60s"; without a
// window, [DefaultHRexWindow]. Errors wrap [ErrWord].
func ParseHRex(s string) (schemas.HRexMethod, time.Duration, error) {
	const kind, how = "an HRex method", "write final-mean, peak-mean or stage-mean with its window, such as final-mean:60s"
	name, window, found := strings.Cut(strings.TrimSpace(s), ":")
	m := schemas.HRexMethod(strings.TrimSpace(name))
	switch m {
	case schemas.FinalMean, schemas.PeakMean, schemas.StageMean:
	default:
		return "", 0, notA(s, kind, how)
	}
	if !found {
		return m, DefaultHRexWindow, nil
	}
	w, err := ParseDuration(window)
	if err != nil || w <= 0 {
		return "", 0, notA(s, kind, how)
	}
	return m, w, nil
}

var bandText = regexp.MustCompile(`^\s*(\d{2,3}(?:\.\d+)?)\s*%?\s*(?:-|–|to)\s*(\d{2,3}(?:\.\d+)?)\s*%?\s*$`)

// ParseBand reads an intensity band in percent of HRmax, "75-85" or "75 to 85 %",
// as fractions: 0.75, 0.85. Errors wrap [ErrWord].
func ParseBand(s string) (low, high float64, err error) {
	const kind, how = "an intensity band", "write two percentages of HRmax between 30 and 100, the lower first: 75-85"
	m := bandText.FindStringSubmatch(s)
	if m == nil {
		return 0, 0, notA(s, kind, how)
	}
	low, err1 := strconv.ParseFloat(m[1], 64)
	high, err2 := strconv.ParseFloat(m[2], 64)
	if err1 != nil || err2 != nil || low < 30 || high > 100 || low >= high {
		return 0, 0, notA(s, kind, how)
	}
	return low / 100, high / 100, nil
}

var sizeText = regexp.MustCompile(`^\s*(\d+(?:\.\d+)?)\s*([kKMG]?)(i?)B\s*$`)

// ParseSize reads a size in bytes: "64MB", "64 MiB". Errors wrap [ErrWord].
func ParseSize(s string) (int64, error) {
	const kind, how = "a size", "write it with its unit, such as 64MB"
	m := sizeText.FindStringSubmatch(s)
	if m == nil {
		return 0, notA(s, kind, how)
	}
	n, err := strconv.ParseFloat(m[1], 64)
	if err != nil || n > 1e9 {
		return 0, notA(s, kind, how)
	}
	base := 1000.0
	if m[3] != "" {
		base = 1024
	}
	power := map[string]float64{"": 0, "K": 1, "M": 2, "G": 3}[strings.ToUpper(m[2])]
	return int64(n * math.Pow(base, power)), nil
}

// parseDay reads a date as the year, month and day of it.
func parseDay(s string) (time.Time, error) {
	for _, layout := range []string{"2006-01-02", "2.1.2006"} {
		if t, err := time.Parse(layout, strings.TrimSpace(s)); err == nil && t.Year() >= 1900 && t.Year() <= 2200 {
			return t, nil
		}
	}
	return time.Time{}, notA(s, "a date", "write a day of the calendar as year-month-day, such as 2026-03-09")
}
