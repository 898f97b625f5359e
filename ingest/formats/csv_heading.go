package formats

import (
	"bytes"
	"fmt"
	"strings"
)

const (
	// The heading line is looked for in this much of the file.
	headLines = 200
	headBytes = 256 << 10
	// maxColumns of a heading line.
	maxColumns = 2048
)

// layout is where a CSV file keeps what, as its heading line says.
type layout struct {
	comma    byte
	line     int // of the heading line, from 1
	offset   int // of the first byte of the heading line
	headings []heading
	// Columns, -1 when there are none. time is the one the samples are timed by.
	date, time                   int
	speed, cadence               int
	athlete, first, last, serial int
	// hr are the columns of heart rates: one, or in a wide file one an athlete.
	hr   []int
	wide bool
	// sure is false for a wide file whose columns carry bare names: the values
	// must show that they are heart rates.
	sure bool
	// Cells of the lines before the heading line, for what they tell.
	preamble [][]string
}

// delimiters in order of preference when two explain a heading line equally.
var delimiters = [...]byte{',', ';', '\t', '|'}

// findLayout finds the heading line and what its columns hold.
func findLayout(text []byte) (*layout, *Error) {
	var best *layout   // a heading line that will do
	var nearly *layout // one that nearly does, for the error
	var before []string
	offset, head := 0, text[:min(len(text), headBytes)]
	for line := 1; line <= headLines && offset < len(head); line++ {
		rest := head[offset:]
		length := bytes.IndexByte(rest, '\n')
		if length < 0 {
			length = len(rest)
		}
		raw := strings.TrimRight(string(rest[:length]), "\r")
		for _, comma := range delimiters {
			l := readLayout(raw, comma, line, offset)
			if l == nil {
				continue
			}
			if l.usable(head[min(len(head), offset+length+1):]) {
				if best == nil || l.known() > best.known() {
					best = l
				}
			} else if nearly == nil || l.known() > nearly.known() {
				nearly = l
			}
		}
		if best != nil {
			for _, p := range before {
				best.preamble = append(best.preamble, splitLine(p, commaOf(p, best.comma)))
			}
			return best, best.settle()
		}
		before = append(before, raw)
		offset += length + 1
	}
	return nil, noLayout(text, nearly)
}

// commaOf returns the delimiter of a line before the heading line, which need
// not be that of the table.
func commaOf(line string, comma byte) byte {
	for _, c := range append([]byte{comma}, delimiters[:]...) {
		if strings.IndexByte(line, c) >= 0 {
			return c
		}
	}
	return comma
}

// readLayout understands a line as a heading line; nil when nothing in it is known.
func readLayout(raw string, comma byte, line, offset int) *layout {
	if strings.IndexByte(raw, comma) < 0 {
		return nil
	}
	cells := splitLine(raw, comma)
	if len(cells) > maxColumns {
		return nil
	}
	l := &layout{comma: comma, line: line, offset: offset}
	for _, c := range cells {
		l.headings = append(l.headings, readHeading(c))
	}
	if l.known() == 0 {
		return nil
	}
	return l
}

// known counts headings that mean something.
func (l *layout) known() int {
	n := 0
	for _, h := range l.headings {
		if h.kind != unnamedColumn {
			n++
		}
	}
	return n
}

func (l *layout) of(kinds ...columnKind) []int {
	var found []int
	for i, h := range l.headings {
		for _, k := range kinds {
			if h.kind == k {
				found = append(found, i)
			}
		}
	}
	return found
}

// usable reports whether the line can be the heading of samples: it has a time,
// and a heart rate, or the columns of a wide file, which need the next lines as
// witnesses.
func (l *layout) usable(below []byte) bool {
	if len(l.of(stampColumn, clockColumn, timeColumn, elapsedColumn)) == 0 {
		return false
	}
	if len(l.of(hrColumn)) > 0 {
		return true
	}
	bare := l.bare()
	if len(bare) < 2 {
		return false
	}
	times := l.of(stampColumn, clockColumn, timeColumn, elapsedColumn)
	for range 2 { // one line of numbers may still be a summary
		var next []byte
		next, below, _ = bytes.Cut(below, []byte{'\n'})
		if !l.witness(splitLine(strings.TrimRight(string(next), "\r"), l.comma), times[0], bare) {
			return false
		}
	}
	return true
}

// witness reports whether a line looks like samples of a wide file.
func (l *layout) witness(cells []string, time int, bare []int) bool {
	if time >= len(cells) || !strings.ContainsAny(cells[time], "0123456789") {
		return false
	}
	numbers := 0
	for _, i := range bare {
		if i >= len(cells) || isBlank(cells[i]) {
			continue
		}
		if _, ok := parseNumber(cells[i]); !ok {
			return false
		}
		numbers++
	}
	return numbers > 0
}

// bare lists the columns with a heading of no known meaning.
func (l *layout) bare() []int {
	var found []int
	for i, h := range l.headings {
		if h.kind == unnamedColumn && h.text != "" {
			found = append(found, i)
		}
	}
	return found
}

// settle decides which column is which, and refuses what is ambiguous.
func (l *layout) settle() *Error {
	one := func(kind columnKind) (int, *Error) {
		found := l.of(kind)
		switch len(found) {
		case 0:
			return -1, nil
		case 1:
			return found[0], nil
		}
		return -1, l.twice(found)
	}
	l.time = -1
	for _, kind := range [...]columnKind{stampColumn, clockColumn, timeColumn, elapsedColumn} {
		i, err := one(kind)
		if err != nil && l.time < 0 {
			return err
		}
		if l.time < 0 {
			l.time = i
		}
	}
	for _, c := range []struct {
		to   *int
		kind columnKind
	}{{&l.date, dateColumn}, {&l.athlete, athleteColumn}, {&l.first, firstNameColumn}, {&l.last, lastNameColumn}, {&l.serial, serialColumn}} {
		i, err := one(c.kind)
		if err != nil {
			return err
		}
		*c.to = i
	}
	if ids := l.of(athleteIDColumn); l.athlete < 0 && l.first < 0 && len(ids) == 1 {
		l.athlete = ids[0]
	}
	l.speed, l.cadence = firstOf(l.of(speedColumn)), firstOf(l.of(cadenceColumn))
	return l.settleHeartRates()
}

func firstOf(list []int) int {
	if len(list) == 0 {
		return -1
	}
	return list[0]
}

// settleHeartRates finds the one column of heart rates, or those of a wide file.
func (l *layout) settleHeartRates() *Error {
	hr := l.of(hrColumn)
	var plain []int
	for _, i := range hr {
		if l.headings[i].athlete == "" {
			plain = append(plain, i)
		}
	}
	switch {
	case len(plain) == 1:
		l.hr, l.sure = plain, true
	case len(plain) > 1:
		return l.twice(plain)
	case len(hr) == 1:
		l.hr, l.sure = hr, true
	case len(hr) > 1:
		l.hr, l.sure, l.wide = hr, true, true
	default:
		l.hr, l.wide = l.bare(), true
	}
	if l.wide && l.athlete >= 0 {
		return problem(ErrColumns, atLine(l.line),
			"there is a column of athletes, and no column of heart rates",
			"Name the heart-rate column HR")
	}
	return nil
}

func (l *layout) twice(found []int) *Error {
	return problem(ErrColumns, atLine(l.line),
		fmt.Sprintf("columns %d and %d, %s and %s, say the same", found[0]+1, found[1]+1,
			quoted(l.headings[found[0]].text), quoted(l.headings[found[1]].text)),
		"Keep one of them, or rename the other")
}

// noLayout says why no line will do as the heading line.
func noLayout(text []byte, nearly *layout) *Error {
	if nearly == nil {
		return unknown(text)
	}
	var names []string
	for _, h := range nearly.headings[:min(len(nearly.headings), 12)] {
		names = append(names, quoted(h.text))
	}
	list := strings.Join(names, ", ")
	hasTime := len(nearly.of(stampColumn, clockColumn, timeColumn, elapsedColumn)) > 0
	hasHR := len(nearly.of(hrColumn)) > 0
	switch {
	case hasTime && !hasHR:
		return problem(ErrColumns, atLine(nearly.line), "no column of heart rates among "+list, "Name the heart-rate column HR")
	case hasHR:
		return problem(ErrColumns, atLine(nearly.line), "no column of times among "+list, "Add a column named Time")
	case nearly.known() < 2 || len(nearly.headings) < 2:
		return unknown(text)
	}
	return problem(ErrColumns, atLine(nearly.line), "no columns of times and heart rates among "+list,
		"Add a heading line that names the columns Time and HR")
}

// splitLine parts one line into cells; quotes are those of CSV.
func splitLine(line string, comma byte) []string {
	if strings.IndexByte(line, '"') < 0 {
		return strings.SplitN(line, string(comma), maxColumns+1)
	}
	var cells []string
	var cell strings.Builder
	inside := false
	for i := 0; i < len(line); i++ {
		c := line[i]
		switch {
		case c == '"' && inside && i+1 < len(line) && line[i+1] == '"':
			cell.WriteByte('"')
			i++
		case c == '"':
			inside = !inside
		case c == comma && !inside:
			cells = append(cells, cell.String())
			cell.Reset()
			if len(cells) > maxColumns {
				return cells
			}
		default:
			cell.WriteByte(c)
		}
	}
	return append(cells, cell.String())
}
