package club

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	_ "time/tzdata" // zones must load on machines without a zone database
)

// Load reads, checks and completes a club file. On failure err is [Problems]:
// every problem with file, line, column, path in the file, what is wrong and
// what to do. Folders are not looked at; they may be on a share that is away.
func Load(path string) (*Club, error) {
	content, err := readLimited(path, maxFileBytes)
	if err != nil {
		text, hint := unreadable(err)
		return nil, Problems{{File: path, Text: text, Hint: hint}}
	}
	return Parse(path, content)
}

// Parse is [Load] with the content at hand. The path names the file in
// messages, and names in the file are relative to its directory; the
// athletes' CSV is read from there.
func Parse(path string, content []byte) (*Club, error) {
	b := &builder{doc: readDocument(path, content), club: &Club{Path: path}}
	b.problems = b.doc.problems
	if b.doc.root == nil {
		return nil, b.problems
	}
	root := b.doc.secrets(b.doc.root, "")
	b.problems = b.doc.problems
	g := theGrammar()
	root, faults := g.validate(g.club, root, "")
	for _, f := range faults {
		b.fault(f)
	}
	if root == nil { // no mapping at all
		return nil, b.problems.sort(path)
	}
	var w clubWritten
	if err := decode(root, &w); err != nil {
		b.fail("", "can't be understood: "+err.Error(), "Check it against the JSON Schema")
		return nil, b.problems.sort(path)
	}
	b.build(&w)
	if len(b.problems) > 0 {
		return nil, b.problems.sort(path)
	}
	return b.club, nil
}

// decode moves checked plain values into a struct.
func decode(root, into any) error {
	if root == nil {
		return nil
	}
	raw, err := json.Marshal(root)
	if err != nil {
		return err
	}
	return json.Unmarshal(raw, into)
}

// readLimited reads a regular file of at most limit+1 bytes, so that the
// caller can tell one that is too long.
func readLimited(path string, limit int64) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, errNotRegular
	}
	if info.Size() > limit {
		return make([]byte, limit+1), nil // its length is all that is looked at
	}
	return os.ReadFile(path) //nolint:gosec // the path is the user's own argument
}

var errNotRegular = errors.New("is not a regular file")

// unreadable says why a file can't be read, and what to do.
func unreadable(err error) (text, hint string) {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "there is no such file", "Check the name; relative names start from the club file's folder, on the command line from the current one"
	case errors.Is(err, fs.ErrPermission):
		return "the file may not be read", "Give the account that runs canter the right to read it"
	case errors.Is(err, errNotRegular):
		return err.Error(), "Name a file, not a folder or a device"
	default:
		return "the file can't be read: " + err.Error(), "Check the disk or the share it is on"
	}
}

// builder turns what is written into a club, and collects problems.
type builder struct {
	doc      *document
	club     *Club
	dir      string
	problems Problems
	// doubtful are the paths where the schema found something: what follows
	// from it is not reported, as one mistake should be one message.
	doubtful []string
	// placed remembers where each athlete was written.
	placed []string
}

// fail notes a problem at a path, at the place of the value or of the nearest
// thing around it.
func (b *builder) fail(at, text, hint string) {
	b.add(b.placeOf(at), at, text, hint)
}

func (b *builder) add(p place, at, text, hint string) {
	b.problems = append(b.problems, Problem{File: p.file, Line: p.line, Column: p.col, Path: at, Text: text, Hint: hint})
}

func (b *builder) placeOf(at string) place {
	for p := at; ; {
		if pl, ok := b.doc.values[p]; ok {
			return pl
		}
		cut := strings.LastIndexAny(p, ".[")
		if cut < 0 {
			break
		}
		p = p[:cut]
	}
	if pl, ok := b.doc.values[""]; ok {
		return pl
	}
	return place{b.doc.file, 1, 1}
}

// fault notes what the schema found.
func (b *builder) fault(f fault) {
	p := b.placeOf(f.path)
	if f.key {
		if k, ok := b.doc.keys[f.path]; ok {
			p = k
		}
	}
	if strings.HasPrefix(f.text, "is empty") {
		// An unquoted # begins a comment, which surprises everybody once.
		if k, ok := b.doc.keys[f.path]; ok && k.line >= 1 && k.line <= len(b.doc.lines) {
			if _, comment, found := strings.Cut(b.doc.lines[k.line-1], " #"); found {
				f.hint = fmt.Sprintf(`An unquoted # begins a comment: write "#%s"`, strings.TrimSpace(comment))
			}
		}
	}
	b.doubtful = append(b.doubtful, f.path)
	if f.missing != "" {
		b.doubtful = append(b.doubtful, join(f.path, f.missing))
	}
	if slices.ContainsFunc(b.doc.problems, func(p Problem) bool { return p.Path == f.path && !f.key }) {
		return // what the YAML itself has wrong there says it already
	}
	b.add(p, f.path, f.text, f.hint)
}

// doubted reports whether the schema found something at or below a path.
func (b *builder) doubted(at string) bool {
	return slices.ContainsFunc(b.doubtful, func(d string) bool {
		rest, below := strings.CutPrefix(d, at)
		return below && (rest == "" || rest[0] == '.' || rest[0] == '[')
	})
}

// day reads a date as the first instant of it in the club's zone; zero when
// nothing is written or it is no date.
func (b *builder) day(at string, s text) time.Time {
	if s == "" {
		return time.Time{}
	}
	d, err := parseDay(string(s))
	if err != nil {
		b.word(at, err)
		return time.Time{}
	}
	return firstInstant(d.Year(), d.Month(), d.Day(), 0, 0, b.club.Zone)
}

// length reads a duration between least and most, def when nothing is written.
func (b *builder) length(at string, s text, def, least, most time.Duration) time.Duration {
	if s == "" {
		return def
	}
	d, err := ParseDuration(string(s))
	switch {
	case err != nil:
		b.word(at, err)
	case d < least:
		b.fail(at, fmt.Sprintf("%s is too short, the least is %s", quote(string(s)), FormatDuration(least)),
			"Check the unit: s, m, h, d or w")
	case d > most:
		b.fail(at, fmt.Sprintf("%s is too long, the most is %s", quote(string(s)), FormatDuration(most)),
			"Check the unit: s, m, h, d or w")
	default:
		return d
	}
	return def
}

// word notes the error of a Parse… function.
func (b *builder) word(at string, err error) {
	text, hint := err.Error(), ""
	if e, ok := errors.AsType[*wordError](err); ok {
		text, hint = e.what, strings.ToUpper(e.how[:1])+e.how[1:]
	}
	b.fail(at, text, hint)
}

// zone loads a time zone by name.
func (b *builder) zone(at string, name text, def *time.Location) *time.Location {
	if name == "" {
		return def
	}
	loc, err := time.LoadLocation(strings.TrimSpace(string(name)))
	if err != nil || strings.EqualFold(string(name), "local") {
		b.fail(at, fmt.Sprintf("%s is no known time zone", quote(string(name))),
			"Write an IANA name such as Europe/Berlin, America/New_York or UTC")
		return def
	}
	return loc
}

var (
	secretKey   = regexp.MustCompile(`(?i)(token|secret|passw|api_?key|webhook|credential)`)
	secretValue = regexp.MustCompile(`(?i)(^xox[a-z]-|^xapp-|hooks\.slack\.com/|://[^/@\s]+:[^/@\s]+@)`)
)

// secrets refuses tokens in the file and takes them out, so that no message
// repeats one.
func (d *document) secrets(v any, path string) any {
	const text = "a secret stands in the file"
	const hint = "Take it out, make it invalid where it was issued, and name an environment variable under chat.token_env or a file under chat.token_file"
	switch x := v.(type) {
	case map[string]any:
		for _, k := range slices.Sorted(maps.Keys(x)) {
			p := join(path, k)
			_, scalar := x[k].(string)
			if secretKey.MatchString(k) && !strings.HasSuffix(k, "token_env") && !strings.HasSuffix(k, "token_file") && scalar {
				d.fail(d.keys[p], p, text, hint)
				delete(x, k)
				continue
			}
			if x[k] = d.secrets(x[k], p); x[k] == secretTaken {
				delete(x, k)
			}
		}
	case []any:
		for i := range x {
			if x[i] = d.secrets(x[i], fmt.Sprintf("%s[%d]", path, i)); x[i] == secretTaken {
				x[i] = nil
			}
		}
	case string:
		if secretValue.MatchString(x) {
			d.fail(d.values[path], path, text, hint)
			return secretTaken
		}
	}
	return v
}

// secretTaken stands for a secret that was taken out.
const secretTaken = "\x00secret"

// absolute returns a name from the club file as an absolute path.
func (b *builder) absolute(name text) string {
	p := filepath.FromSlash(strings.TrimSpace(string(name)))
	if filepath.IsAbs(p) {
		return filepath.Clean(p)
	}
	return filepath.Join(b.dir, p)
}
