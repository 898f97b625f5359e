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
// or a space, and Z, ±07:00 or nothing behind it. It is several times as fast
// as time.Parse; what it does not take may still be a time.
func parseISO(b []byte) (t time.Time, zoned, ok bool) {
	if len(b) < 19 || b[4] != '-' || b[7] != '-' || b[10] != 'T' && b[10] != ' ' || b[13] != ':' || b[16] != ':' {
		return time.Time{}, false, false
	}
	year, month, day := digits(b[0:4]), digits(b[5:7]), digits(b[8:10])
	hour, minute, second := digits(b[11:13]), digits(b[14:16]), digits(b[17:19])
	if year < 0 || month < 1 || month > 12 || day < 1 || hour < 0 || hour > 23 || minute < 0 || minute > 59 || second < 0 || second > 59 {
		return time.Time{}, false, false
	}
	nano, rest, ok := parseFraction(b[19:])
	if !ok {
		return time.Time{}, false, false
	}
	zone := time.UTC
	switch {
	case len(rest) == 0:
	case len(rest) == 1 && rest[0] == 'Z':
		zoned = true
	case len(rest) == 6 && (rest[0] == '+' || rest[0] == '-') && rest[3] == ':':
		h, m := digits(rest[1:3]), digits(rest[4:6])
		if h < 0 || h > 23 || m < 0 || m > 59 {
			return time.Time{}, false, false
		}
		offset := (h*60 + m) * 60
		if rest[0] == '-' {
			offset = -offset
		}
		if offset != 0 {
			zone = time.FixedZone("", offset)
		}
		zoned = true
	default:
		return time.Time{}, false, false
	}
	t = time.Date(year, time.Month(month), day, hour, minute, second, nano, zone)
	// The 31st of April is no day; time.Date takes it for the first of May.
	return t, zoned, t.Day() == day
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
