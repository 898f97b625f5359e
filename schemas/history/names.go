package history

import (
	_ "embed"
	"io/fs"
	"regexp"
	"strings"
)

var created = regexp.MustCompile(`(?m)^CREATE (?:TABLE|VIEW) IF NOT EXISTS ([a-z0-9_]+)`)

// Names returns the tables and views that people query, in the order they were
// made. They are the same in both engines and have the same columns there; what
// each holds stands in DICTIONARY.md.
func Names() []string {
	files, err := fs.Glob(migrations, "sqlite/*.sql")
	if err != nil {
		panic(err) // the pattern is well formed
	}
	var names []string
	known := map[string]bool{}
	for _, file := range files {
		text, err := migrations.ReadFile(file)
		if err != nil {
			panic(err) // it was listed
		}
		for _, m := range created.FindAllStringSubmatch(string(text), -1) {
			if name := m[1]; !strings.HasPrefix(name, "stored_") && !known[name] {
				known[name] = true
				names = append(names, name)
			}
		}
	}
	return names
}

// Dictionary is the data dictionary, a page in Markdown.
//
//go:embed DICTIONARY.md
var Dictionary string

// Kind is what a column holds, in words that fit both engines.
type Kind string

// Kinds of columns.
const (
	Text    Kind = "text"
	Integer Kind = "integer"
	Float   Kind = "number"
	// Time is an instant: text in SQLite, a DateTime in ClickHouse.
	Time Kind = "time"
)

// Column is a column of a table or view, as the data dictionary has it.
type Column struct {
	Name     string
	Kind     Kind
	Nullable bool
	Meaning  string
}

var dictionaryRow = regexp.MustCompile(`(?m)^\| ([a-z0-9_]+) \| (text|integer|number|time)( or NULL)? \| (.*) \|$`)

// Columns returns the columns of one of [Names] in their order, nil when there
// is no such table.
func Columns(table string) []Column {
	_, section, found := strings.Cut(Dictionary, "\n## "+table+"\n")
	if !found {
		return nil
	}
	section, _, _ = strings.Cut(section, "\n## ")
	var columns []Column
	for _, m := range dictionaryRow.FindAllStringSubmatch(section, -1) {
		columns = append(columns, Column{Name: m[1], Kind: Kind(m[2]), Nullable: m[3] != "", Meaning: strings.ReplaceAll(m[4], `\|`, "|")})
	}
	return columns
}
