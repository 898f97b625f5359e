package club

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// maxAthletesBytes bounds the athletes' CSV; a thousand athletes take 100 kB.
const maxAthletesBytes = 4 << 20

// csvColumns are the headings of the athletes' CSV, in the order of the example.
var csvColumns = []string{
	"id", "name", "initials", "birth_year", "sex", "hrmax", "hrrest",
	"sensors", "squad", "from", "to", "aliases", "returns",
}

// csvRow is an athlete of the CSV with the path that messages give it.
type csvRow struct {
	at      string
	athlete *athleteWritten
}

// readAthletes reads the CSV named at a path of the club file. Its rows go
// through the same schema as athletes written in the club file.
func (b *builder) readAthletes(at string, name text) []csvRow {
	content, err := readLimited(b.absolute(name), maxAthletesBytes)
	if err != nil {
		text, hint := unreadable(err)
		b.fail(at, fmt.Sprintf("the athletes' file %s: %s", quote(string(name)), text), hint)
		b.doubtful = append(b.doubtful, "athletes")
		return nil
	}
	file := string(name)
	if !filepath.IsAbs(file) { // as seen from where the club file was named
		file = filepath.Join(filepath.Dir(b.doc.file), filepath.FromSlash(file))
	}
	t := &table{file: file}
	if len(content) > maxAthletesBytes {
		t.fail(place{file: t.file}, "", fmt.Sprintf("the file is longer than %d bytes", maxAthletesBytes), "Name the list of athletes, not an export of their data")
	} else {
		t.read(content)
	}
	b.problems = append(b.problems, t.problems...)
	if len(t.problems) > 0 {
		b.doubtful = append(b.doubtful, "athletes")
	}
	var out []csvRow
	g := theGrammar()
	for _, r := range t.rows {
		maps.Copy(b.doc.values, r.places)
		tree, faults := g.validate(g.athlete, r.tree, r.at)
		for _, f := range faults {
			b.fault(f)
		}
		var a athleteWritten
		if err := decode(tree, &a); err != nil {
			b.fail(r.at, "can't be understood: "+err.Error(), "Check the row against the example")
			continue
		}
		out = append(out, csvRow{r.at, &a})
	}
	return out
}

// table is the athletes' CSV as rows of plain values.
type table struct {
	file     string
	problems Problems
	rows     []tableRow
}

type tableRow struct {
	at     string
	tree   any
	places map[string]place
}

func (t *table) fail(p place, path, text, hint string) {
	t.problems = append(t.problems, Problem{File: p.file, Line: p.line, Column: p.col, Path: path, Text: text, Hint: hint})
}

// read takes the dialects that spreadsheets write: comma, semicolon or tab,
// with or without a byte-order mark, UTF-8 or marked UTF-16, any line ends.
func (t *table) read(content []byte) {
	text, bad := plainText(fromUTF16(content))
	if bad != (place{}) {
		bad.file = t.file
		t.fail(bad, "", "holds bytes that are not UTF-8 text", "Save the sheet as “CSV UTF-8”")
		return
	}
	comma := separator(text)
	r := csv.NewReader(strings.NewReader(text))
	r.Comma, r.FieldsPerRecord, r.TrimLeadingSpace = comma, -1, comma != '\t'
	lines := strings.Split(text, "\n")
	var columns []string
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.broken(err, lines)
			return
		}
		where := func(i int) place {
			line, col := r.FieldPos(i)
			return place{t.file, line, characters(lines, line, col)}
		}
		switch {
		case blank(record):
		case columns == nil:
			if columns = t.headings(record, where); columns == nil {
				return
			}
		default:
			t.row(columns, record, where, comma)
		}
	}
	if columns == nil {
		t.fail(place{t.file, 1, 1}, "", "the athletes' file is empty", "Its first line holds headings: "+strings.Join(csvColumns, ","))
	}
}

func (t *table) broken(err error, lines []string) {
	p, text := place{t.file, 1, 1}, err.Error()
	if pe, ok := errors.AsType[*csv.ParseError](err); ok {
		p, text = place{t.file, pe.Line, characters(lines, pe.Line, pe.Column)}, pe.Err.Error()
	}
	t.fail(p, "", "is not valid CSV: "+text, `A quote within a quoted cell is doubled: "O""Neil"`)
}

// headings returns the column names, "" for columns to skip.
func (t *table) headings(record []string, where func(int) place) []string {
	columns := make([]string, len(record))
	for i, h := range record {
		h = strings.TrimSpace(h)
		name := strings.ToLower(strings.NewReplacer(" ", "_", "-", "_").Replace(h))
		switch {
		case h == "" || strings.HasPrefix(h, "#"):
		case !slices.Contains(csvColumns, name):
			t.fail(where(i), "", fmt.Sprintf("unknown heading %s", quote(h)),
				headingMeant(h)+" To have a column skipped, begin its heading with #")
		case slices.Contains(columns[:i], name):
			t.fail(where(i), "", fmt.Sprintf("the heading %s is there twice", quote(h)), "Keep one of the columns")
		default:
			columns[i] = name
		}
	}
	if !slices.Contains(columns, "id") {
		t.fail(where(0), "", "the heading id is missing", "The first line holds headings: "+strings.Join(csvColumns, ","))
		return nil
	}
	return columns
}

// headingMeant suggests a heading for what spreadsheets call a column.
func headingMeant(h string) string {
	if n, ok := map[string]string{
		"maxhr": "hrmax", "maximumheartrate": "hrmax", "restinghr": "hrrest", "resthr": "hrrest",
		"yearofbirth": "birth_year", "athlete": "name", "fullname": "name", "team": "squad", "group": "squad",
		"sensor": "sensors", "serial": "sensors", "strap": "sensors", "gender": "sex",
	}[foldKey(h)]; ok {
		return fmt.Sprintf("Did you mean %q?", n)
	}
	return didYouMean(h, csvColumns, "Known are "+list(csvColumns, "and")+".")
}

func (t *table) row(columns, record []string, where func(int) place, comma rune) {
	first := where(0)
	r := tableRow{at: fmt.Sprintf("row %d", first.line), places: map[string]place{}}
	r.places[r.at] = first
	tree := map[string]any{}
	for i, cell := range record {
		cell = strings.TrimSpace(cell)
		if cell == "" {
			continue
		}
		if i >= len(columns) {
			t.fail(where(i), r.at, fmt.Sprintf("the cell %s has no heading above it", quote(cell)),
				"A cell that holds the separator itself needs quotes")
			break
		}
		key := columns[i]
		if key == "" {
			continue
		}
		at := join(r.at, key)
		r.places[at] = where(i)
		tree[key] = cellValue(key, cell, comma)
	}
	r.tree = tree
	t.rows = append(t.rows, r)
}

// cellValue gives a cell the type that its column has in the club file.
func cellValue(key, cell string, comma rune) any {
	switch key {
	case "birth_year", "hrmax", "hrrest":
		n := strings.Replace(cell, ",", ".", 1) // decimal comma
		if jsonNumber.MatchString(n) {
			return json.Number(n)
		}
		return strings.ToLower(cell)
	case "sex":
		switch s := strings.ToLower(cell); s {
		case "f", "w":
			return "female"
		case "m":
			return "male"
		default:
			return s
		}
	case "sensors", "aliases", "returns":
		marks := "|"
		if comma != ';' {
			marks += ";"
		}
		if key != "aliases" {
			marks += " ;"
		}
		items := []any{}
		for _, s := range strings.FieldsFunc(cell, func(r rune) bool { return strings.ContainsRune(marks, r) }) {
			if s = strings.TrimSpace(s); s != "" {
				items = append(items, s)
			}
		}
		return items
	default:
		return cell
	}
}

// separator picks the mark that the heading line has most of.
func separator(text string) rune {
	heading, _, _ := strings.Cut(strings.TrimLeft(text, "\n "), "\n")
	best, most := ',', 0
	for _, r := range ",;\t" {
		if n := strings.Count(heading, string(r)); n > most {
			best, most = r, n
		}
	}
	return best
}

func blank(record []string) bool {
	return !slices.ContainsFunc(record, func(s string) bool { return strings.TrimSpace(s) != "" })
}

// characters turns the CSV reader's byte column into one in characters.
func characters(lines []string, line, col int) int {
	if line < 1 || line > len(lines) {
		return max(col, 1)
	}
	s := lines[line-1]
	return utf8.RuneCountInString(s[:min(max(col-1, 0), len(s))]) + 1
}

// fromUTF16 decodes text that begins with a UTF-16 byte-order mark.
func fromUTF16(content []byte) []byte {
	var order binary.ByteOrder
	switch {
	case bytes.HasPrefix(content, []byte{0xff, 0xfe}):
		order = binary.LittleEndian
	case bytes.HasPrefix(content, []byte{0xfe, 0xff}):
		order = binary.BigEndian
	default:
		return content
	}
	units := make([]uint16, 0, len(content)/2)
	for i := 2; i+1 < len(content); i += 2 {
		units = append(units, order.Uint16(content[i:]))
	}
	return []byte(string(utf16.Decode(units)))
}
