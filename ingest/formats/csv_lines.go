package formats

import (
	"bytes"
	"encoding/csv"
	"io"
	"strings"
)

// csvLines reads the lines of a table one by one. Without a quotation mark
// anywhere, as nearly all exports are, a line is what stands between two ends of
// line and needs no more than cutting; else encoding/csv reads them. A test holds
// the one to the other.
type csvLines struct {
	quoted *csv.Reader // nil when there is no quotation mark
	rest   string
	comma  byte
	line   int // the last one read, from 1
	cells  []string
}

func newCSVLines(text []byte, comma byte) *csvLines {
	if bytes.IndexByte(text, '"') < 0 {
		return &csvLines{rest: viewOf(text), comma: comma}
	}
	c := csv.NewReader(bytes.NewReader(text))
	c.Comma = rune(comma)
	c.FieldsPerRecord = -1
	c.ReuseRecord = true
	return &csvLines{quoted: c}
}

// read returns the cells of the next line that is not empty, good until it is
// called again and to be cloned where they are kept, and the line's number; io.EOF behind the last one.
func (l *csvLines) read() (cells []string, line int, err error) {
	if l.quoted != nil {
		if cells, err = l.quoted.Read(); err == nil {
			line, _ = l.quoted.FieldPos(0)
		}
		return cells, line, err
	}
	text := ""
	for text == "" {
		if l.rest == "" {
			return nil, 0, io.EOF
		}
		text = l.rest
		if end := strings.IndexByte(text, '\n'); end >= 0 {
			text, l.rest = text[:end], text[end+1:]
		} else {
			l.rest = ""
		}
		text = strings.TrimSuffix(text, "\r")
		l.line++
	}
	// Cells are so short that going through them costs less than a search for each.
	cells, from := l.cells[:0], 0
	for i := range len(text) {
		if text[i] == l.comma {
			cells = append(cells, text[from:i])
			from = i + 1
		}
	}
	l.cells = append(cells, text[from:])
	return l.cells, l.line, nil
}
