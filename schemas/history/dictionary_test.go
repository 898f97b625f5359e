package history_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

var update = flag.Bool("update", false, "write DICTIONARY.md anew")

// DICTIONARY.md is made from the comments in the SQL files below sqlite/ and
// the types that ClickHouse gives: names and columns are those of both engines.
func TestTheDataDictionaryIsUpToDate(t *testing.T) {
	t.Parallel()
	lite, click := open(t, historytest.SQLite(t)), open(t, historytest.ClickHouse(t))
	d := readComments(t)
	var page strings.Builder
	page.WriteString(dictionaryHead)
	for _, name := range history.Names() {
		r, err := lite.Query(t.Context(), "SELECT name, type FROM pragma_table_xinfo('"+name+"')", 0)
		ok(t, err)
		columns := firstColumn(r)
		if r, err = click.Query(t.Context(), "DESCRIBE TABLE "+name, 0); err != nil {
			t.Fatal(err)
		}
		if got := firstColumn(r); !slices.Equal(got, columns) {
			t.Errorf("the columns of %s differ:\nSQLite     %v\nClickHouse %v", name, columns, got)
			continue
		}
		fmt.Fprintf(&page, "\n## %s\n%s\n\n| column | kind | meaning |\n|---|---|---|\n", name, d.about(t, name))
		for i, column := range columns {
			fmt.Fprintf(&page, "| %s | %s | %s |\n", column, kind(r.Values[i][1].(string)), strings.ReplaceAll(d.meaning(t, name, column), "|", `\|`))
		}
	}
	if *update {
		ok(t, os.WriteFile("DICTIONARY.md", []byte(page.String()), 0o644))
	}
	onDisk, err := os.ReadFile("DICTIONARY.md")
	ok(t, err)
	if string(onDisk) != page.String() {
		t.Error("DICTIONARY.md is not what the SQL files say: go test ./schemas/history -run DataDictionary -update")
	}
}

const dictionaryHead = `# What the history holds

Made from the comments in the SQL files beside this page; don't edit it. Every table and view here can be asked in
SQLite and in ClickHouse under the same names with the same columns. [RECIPES.md](RECIPES.md) has questions with their
SQL. Tables whose names begin with stored_ are the engines' own affair and differ.

- A *time* is text in SQLite (ISO 8601, UTC, to the millisecond) and a DateTime in ClickHouse (UTC, to the second). The
  column beside it that ends in _ms holds the same instant in milliseconds since 1970-01-01 UTC, in both.
- *or NULL*: the number is absent, never zero.
- HRex is the exercise heart rate at the end of the test, HRR60 its drop in the minute after; how they are measured is
  the club's protocol.
- Nothing here is a diagnosis. Heart-rate data is health data: what is copied out of here falls under the same rules.
`

func firstColumn(r *history.Rows) []string {
	var names []string
	for _, v := range r.Values {
		names = append(names, v[0].(string))
	}
	return names
}

// kind names a ClickHouse type in words that fit both engines.
func kind(clickhouseType string) string {
	inner, nullable := strings.CutPrefix(clickhouseType, "Nullable(")
	inner = strings.TrimSuffix(inner, ")")
	word := "text"
	switch {
	case strings.HasPrefix(inner, "DateTime"):
		word = "time"
	case strings.HasPrefix(inner, "Int"), strings.HasPrefix(inner, "UInt"):
		word = "integer"
	case strings.HasPrefix(inner, "Float"):
		word = "number"
	}
	if nullable {
		word += " or NULL"
	}
	return word
}

// comments are those of the SQL files: of tables and views by name, of columns
// by table and name.
type comments struct {
	tables  map[string]string
	columns map[[2]string]string
	// order is the tables' as they were made.
	order []string
	// files leads from a name to the names made in the same files.
	files map[string][]string
}

var (
	commentLine  = regexp.MustCompile(`^-- (.*)$`)
	createLine   = regexp.MustCompile(`^CREATE (?:TABLE|VIEW) IF NOT EXISTS ([a-z0-9_]+)`)
	alterLine    = regexp.MustCompile(`^ALTER TABLE ([a-z0-9_]+) ADD COLUMN ([a-z0-9_]+) .*; -- (.+)$`)
	columnLine   = regexp.MustCompile(`^ {4}([a-z0-9_]+) +[A-Z].* -- (.+)$`)
	selectedLine = regexp.MustCompile(`^(?:SELECT| {6}) .*?([a-z0-9_]+),? +-- (.+)$`)
)

// readComments reads the SQL files of SQLite, which have one comment for each
// column; in ClickHouse's a view of a table says no more than where to look.
func readComments(t *testing.T) comments {
	t.Helper()
	files, err := filepath.Glob("sqlite/*.sql")
	ok(t, err)
	if len(files) == 0 {
		t.Fatal("there are no SQL files")
	}
	d := comments{tables: map[string]string{}, columns: map[[2]string]string{}, files: map[string][]string{}}
	for _, file := range files {
		text, err := os.ReadFile(file)
		ok(t, err)
		d.read(string(text))
	}
	return d
}

func (d *comments) read(text string) {
	var names []string
	var above []string
	table := ""
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\n")
		switch {
		case strings.HasPrefix(line, "-- +goose"):
		case commentLine.MatchString(line):
			above = append(above, commentLine.FindStringSubmatch(line)[1])
			continue
		case createLine.MatchString(line):
			table = createLine.FindStringSubmatch(line)[1]
			d.tables[table] = strings.Join(above, " ")
			names = append(names, table)
			d.order = append(d.order, table)
		case alterLine.MatchString(line):
			m := alterLine.FindStringSubmatch(line)
			d.columns[[2]string{m[1], m[2]}] = m[3]
			names = append(names, m[1])
		case columnLine.MatchString(line):
			m := columnLine.FindStringSubmatch(line)
			d.columns[[2]string{table, m[1]}] = m[2]
		case selectedLine.MatchString(line):
			m := selectedLine.FindStringSubmatch(line)
			d.columns[[2]string{table, m[1]}] = m[2]
		}
		above = nil
	}
	for _, n := range names {
		d.files[n] = append(d.files[n], names...)
	}
}

// about returns what a table's comment says, without the words that lead from
// an engine's own table to the view that is asked.
func (d comments) about(t *testing.T, name string) string {
	t.Helper()
	text := d.tables[name]
	if text == "" {
		t.Errorf("%s has no comment above it", name)
	}
	return text
}

// meaning returns a column's comment: its own, or that of the table which the
// same file makes for the view to read.
func (d comments) meaning(t *testing.T, table, column string) string {
	t.Helper()
	if text, found := d.columns[[2]string{table, column}]; found {
		return text
	}
	for _, n := range d.files[table] {
		if text, found := d.columns[[2]string{n, column}]; found {
			return text
		}
	}
	// A view over others: what the first of them says of a column of this name.
	for _, n := range d.order {
		if text, found := d.columns[[2]string{n, column}]; found {
			return text
		}
	}
	t.Errorf("%s.%s has no comment in sqlite/", table, column)
	return ""
}
