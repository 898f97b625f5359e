package club

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// Pattern is a compiled path pattern. It may be used by many goroutines.
type Pattern struct {
	text   string
	re     *regexp.Regexp
	groups []string
}

// Parts is what a path says by its pattern; what the pattern doesn't name is
// empty.
type Parts struct {
	Squad   string
	Athlete string
	// Date is a local date, "2006-01-02".
	Date string
}

// dateForms are the spellings of {date}: the year first, or the day first with
// dots. 03-09-2026 is not among them, as it is March here and September there.
var dateForms = []string{"2006-01-02", "2006_01_02", "2006.01.02", "20060102", "2.1.2006"}

const (
	datePart = `(\d{4}-\d{2}-\d{2}|\d{4}_\d{2}_\d{2}|\d{4}\.\d{2}\.\d{2}|\d{8}|\d{1,2}\.\d{1,2}\.\d{4})`
	namePart = `([^/]+?)`
	anyPart  = `[^/]*?`
	// extensionPart is one extension and perhaps that of a compressor, so that
	// "J.Smith.fit" is J.Smith, and "ines.tcx.gz" is ines.
	extensionPart = `\.[A-Za-z0-9]{1,5}(?:\.(?:gz|zst|zip))?`
)

var patternPart = regexp.MustCompile(`\{[^{}]*\}|\*\*/?|\*`)

// CompilePattern reads a path pattern: names and folders as they are, with
//
//	{squad} {athlete}  an id, or another name by which the club file knows them
//	{date}             2026-03-09, 20260309, 2026_03_09, 2026.03.09 or 9.3.2026
//	{any} or *         any text within one name
//	**                 any text, folders included; **/ also none
//	.* at the end      any extension
//
// Upper and lower case are the same. Errors wrap [ErrWord].
func CompilePattern(pattern string) (*Pattern, error) {
	text := norm.NFC.String(strings.TrimSpace(pattern))
	w := patternWriter{}
	how := misplaced(text)
	if how == "" {
		how = w.write(text)
	}
	if how != "" {
		return nil, notA(pattern, "a path pattern", how)
	}
	re, err := regexp.Compile(w.re.String())
	if err != nil {
		return nil, notA(pattern, "a path pattern", "it is too long")
	}
	return &Pattern{text: text, re: re, groups: w.groups}, nil
}

// misplaced says why a pattern can't describe a path below a folder, "" when
// it can.
func misplaced(text string) string {
	between := "/" + text + "/"
	switch {
	case strings.Contains(text, `\`):
		return "write / between folders"
	case strings.HasPrefix(text, "/") || strings.HasSuffix(text, "/"):
		return "write it without / at either end: it begins below the folder and ends with the file's name"
	case strings.Contains(between, "/../") || strings.Contains(between, "/./") || strings.Contains(text, "//"):
		return "leave out . and .. and double slashes: it begins below the folder"
	default:
		return ""
	}
}

// patternWriter turns a pattern into a regular expression with a group for
// each named part.
type patternWriter struct {
	re     strings.Builder
	groups []string
	// open is where a part ended that only the text after it can end, -1 else.
	open int
}

// write returns what to do when the pattern is none, else "".
func (w *patternWriter) write(text string) (how string) {
	const brace = "a brace is left open"
	body, extension := strings.CutSuffix(text, ".*")
	w.re.WriteString(`(?is)^`)
	w.open = -1
	end := 0
	for _, m := range patternPart.FindAllStringIndex(body, -1) {
		if !w.literal(body[end:m[0]]) {
			return brace
		}
		if how := w.part(body[m[0]:m[1]], m[0]); how != "" {
			return how
		}
		end = m[1]
	}
	switch {
	case !w.literal(body[end:]):
		return brace
	case len(w.groups) == 0:
		return "it names no part: use {athlete}, {date} or {squad}, or leave the pattern out"
	case extension:
		w.re.WriteString(extensionPart)
	}
	w.re.WriteString(`$`)
	return ""
}

func (w *patternWriter) literal(s string) bool {
	w.re.WriteString(regexp.QuoteMeta(s))
	return !strings.ContainsAny(s, "{}")
}

func (w *patternWriter) part(part string, at int) (how string) {
	name := strings.ToLower(strings.Trim(part, "{}"))
	if name != "date" && part != "**/" {
		if w.open == at {
			return fmt.Sprintf("put something between %s and the part before it, or nobody can tell where one ends", part)
		}
		w.open = at + len(part)
	}
	switch {
	case part == "**/":
		w.re.WriteString(`(?:.*/)?`)
	case part == "**":
		w.re.WriteString(`.*?`)
	case part == "*" || name == "any":
		w.re.WriteString(anyPart)
	case slices.Contains(w.groups, name):
		return fmt.Sprintf("{%s} stands there twice", name)
	case name == "date":
		w.groups = append(w.groups, name)
		w.re.WriteString(datePart)
	case name == "squad" || name == "athlete":
		w.groups = append(w.groups, name)
		w.re.WriteString(namePart)
	default:
		return didYouMean(name, []string{"squad", "date", "athlete", "any"},
			part+" is no part: there are {squad}, {date}, {athlete} and {any}")
	}
	return ""
}

// String returns the pattern as it is written.
func (p *Pattern) String() string { return p.text }

// Match reads a path below the folder, with forward slashes; ok is false when
// it doesn't fit the pattern, or its date is in no calendar.
func (p *Pattern) Match(path string) (parts Parts, ok bool) {
	m := p.re.FindStringSubmatch(norm.NFC.String(path))
	if m == nil {
		return Parts{}, false
	}
	for i, g := range p.groups {
		s := strings.TrimSpace(m[i+1])
		switch g {
		case "squad":
			parts.Squad = s
		case "athlete":
			parts.Athlete = s
		case "date":
			if parts.Date = readDate(s); parts.Date == "" {
				return Parts{}, false
			}
		}
	}
	return parts, true
}

func readDate(s string) string {
	for _, f := range dateForms {
		if t, err := time.Parse(f, s); err == nil && t.Year() >= 1900 {
			return t.Format(time.DateOnly)
		}
	}
	return ""
}

// oneCase does what strings.ToLower leaves undone: ß is SS in capitals, and a
// sigma has two small forms.
var oneCase = strings.NewReplacer("ß", "ss", "ς", "σ")

// Fold reduces a name to what people mean by it: composed Unicode (macOS
// writes file names decomposed), no case, and single spaces for any run of
// spaces, dots, commas, underscores and dashes. "Halvorsen,_INES" and
// "halvorsen ines" are the same.
func Fold(name string) string {
	var b strings.Builder
	gap := false
	for _, r := range oneCase.Replace(strings.ToLower(norm.NFC.String(name))) {
		if unicode.IsSpace(r) || strings.ContainsRune("._,-", r) || unicode.Is(unicode.Pd, r) {
			gap = true
			continue
		}
		if gap && b.Len() > 0 {
			b.WriteByte(' ')
		}
		gap = false
		b.WriteRune(r)
	}
	return norm.NFC.String(b.String())
}

// SerialKey reduces a sensor's serial number to what two spellings of it
// share: no case, spaces or separators, and no zeros in front.
func SerialKey(serial string) string {
	s := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToUpper(r)
		}
		return -1
	}, serial)
	return strings.TrimLeft(s, "0")
}
