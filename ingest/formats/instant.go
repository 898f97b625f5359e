package formats

import "time"

// parseXMLTime reads an xsd:dateTime, with or without a zone (then UTC), and
// the same with a space for the T.
func parseXMLTime(b []byte) (t time.Time, zoned, ok bool) {
	if t, zoned, ok := parseISO(b); ok {
		return t, zoned, true
	}
	s := string(b)
	for _, layout := range [...]string{time.RFC3339Nano, "2006-01-02T15:04:05Z0700", "2006-01-02 15:04:05Z07:00"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t, true, true
		}
	}
	for _, layout := range [...]string{"2006-01-02T15:04:05", "2006-01-02 15:04:05"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t, false, true
		}
	}
	return time.Time{}, false, false
}

// parseISO reads the forms that nearly all files use, and with them most of
// the time of reading a text file is spent: 2006-01-02T15:04:05[.999] with T
// or a space, and Z, ±07:00 or nothing behind it. It is many times as fast as
// time.Parse; what it does not take may still be a time. t is in UTC.
func parseISO(b []byte) (t time.Time, zoned, ok bool) {
	if len(b) < 19 || b[4] != '-' || b[7] != '-' || b[10] != 'T' && b[10] != ' ' || b[13] != ':' || b[16] != ':' {
		return time.Time{}, false, false
	}
	year, month, day := digits(b[0:4]), digits(b[5:7]), digits(b[8:10])
	hour, minute, second := digits(b[11:13]), digits(b[14:16]), digits(b[17:19])
	if year < 0 || month < 1 || month > 12 || day < 1 || day > daysIn(year, month) || hour < 0 || hour > 23 || minute < 0 || minute > 59 || second < 0 || second > 59 {
		return time.Time{}, false, false
	}
	nano, rest, ok := parseFraction(b[19:])
	if !ok {
		return time.Time{}, false, false
	}
	offset := 0 // seconds
	switch {
	case len(rest) == 0:
	case len(rest) == 1 && rest[0] == 'Z':
		zoned = true
	case len(rest) == 6 && (rest[0] == '+' || rest[0] == '-') && rest[3] == ':':
		h, m := digits(rest[1:3]), digits(rest[4:6])
		if h < 0 || h > 23 || m < 0 || m > 59 {
			return time.Time{}, false, false
		}
		if offset = (h*60 + m) * 60; rest[0] == '-' {
			offset = -offset
		}
		zoned = true
	default:
		return time.Time{}, false, false
	}
	clock := hour*3600 + minute*60 + second - offset
	return time.Unix(unixDays(year, month, day)*86400+int64(clock), int64(nano)).UTC(), zoned, true
}

// daysIn is the length of a month.
func daysIn(year, month int) int {
	switch month {
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

// unixDays counts the days from 1970-01-01 to a date. Years are taken to begin in
// March, so that leap days end them, and the months before a month have
// (153·m+2)/5 days, m of them since March.
func unixDays(year, month, day int) int64 {
	if month < 3 {
		year, month = year-1, month+12
	}
	year += 400 // whole cycles of the calendar, of 146097 days, keep year 0 from being negative
	return int64(365*year+year/4-year/100+year/400+(153*(month-3)+2)/5+day-1) - 719468 - 146097
}

// parseFraction reads a fraction of a second in nanoseconds from the head of
// b, none when there is no point, and returns what follows it.
func parseFraction(b []byte) (nano int, rest []byte, ok bool) {
	if len(b) == 0 || b[0] != '.' {
		return 0, b, true
	}
	n := 1
	for n < len(b) && b[n] >= '0' && b[n] <= '9' {
		n++
	}
	if n == 1 || n > 10 {
		return 0, nil, false
	}
	nano = digits(b[1:n])
	for range 10 - n {
		nano *= 10
	}
	return nano, b[n:], true
}
