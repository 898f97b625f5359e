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

	"canter.example/schemas"
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
	page.WriteString(dictionaryTail + wordTable(t, "RuleID", "rule", wordsOfRules))
	page.WriteString("\n## Reason codes\n\n" + wordTable(t, "ReasonCode", "code", wordsOfReasons))
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
- A higher HRex and a smaller HRR are what staff are told of; the reverse is not good news by itself.

## Where to ask

| question | ask |
|---|---|
| numbers of tests that count | valid_tests |
| one athlete over time; all tests, with quality and reasons | tests; athlete_timeline for what was said and done as well |
| where everybody stands now | latest_tests |
| a squad on a day | session_tests, with squad and local_date |
| whether the whole squad moved | session_changes |
| how a number compares with the athlete's own earlier ones, and what the squad shared | assessments: one row for hrex, one for each hrr |
| what staff were told, and what came of it | alert_outcomes |
| training load of the days before | tests_with_load; loads for each recording |
| sleep, RPE, wellness, temperature | daily_series |
| who tested, who did not | weekly_tests, weekly_coverage |
| second by second | trace_seconds |
| files that need somebody | files, state = 'parked' |
| who wore what name, and in which squad when | athletes, squad_members |

Tests, assessments and alerts join by test_id, files by file_id. Values of a whole squad (temperature) join a test by squad
and local_date, with athlete = ''. A session is squad/protocol/local date. For "the last four weeks" count from the latest
week in the data (column week), not from today.

| | SQLite | ClickHouse |
|---|---|---|
| days between two dates in text | julianday(a) - julianday(b) | dateDiff('day', toDate(b), toDate(a)) |
| day of the week, 1 is Monday | (strftime('%w', d) + 6) % 7 + 1 | toDayOfWeek(toDate(d)) |
| standard deviation | from count, sum(x) and sum(x * x): see RECIPES.md, which does for both | stddevSamp(x) |
| a value inside JSON | column ->> '$[0].code' | visitParamExtractString on 18.16, JSONExtractString since |

`

// dictionaryTail follows the tables: words that columns hold. The test adds
// what [wordsOfRules] and [wordsOfReasons] say.
const dictionaryTail = `
## Rules

A rule that fires on a test stands in assessments.rules; when HRex and HRR both fire, that is one rule. It becomes an
alert unless it is for the digest alone, another of the same test says more, or the same was said within the rule's
hold-off. Change and z are deviation and deviation_z. Thresholds are those of the club file; these are the defaults.

`

// wordsOfRules says when each rule fires; TestTheDataDictionaryIsUpToDate
// fails when one is missing.
var wordsOfRules = map[schemas.RuleID]string{
	schemas.RuleHRexRisen:     "HRex is higher: state of hrex is higher",
	schemas.RuleHRRWorsened:   "HRR is smaller: state of hrr is lower, z at least 3.2",
	schemas.RuleBoth:          "both of these",
	schemas.RuleHRexRunning:   "HRex higher by 1.8 points and z 1.7 on average of two tests running",
	schemas.RuleHRRRunning:    "HRR smaller by 4.6 bpm and z 2.5 on average of two tests running",
	schemas.RuleHRexDrift:     "many small rises of HRex: drift_side of hrex is up",
	schemas.RuleHRRDrift:      "many small falls of HRR: drift_side of hrr is down",
	schemas.RuleOutsideBand:   "HRex at a new high and above the protocol's intensity band",
	schemas.RuleHRmaxExceeded: "a reading above the HRmax that the club has noted",
	schemas.RuleTraceInvalid:  "two unusable traces running",
	schemas.RuleSquadEffect:   "the whole session moved together; an alert without an athlete",
	schemas.RuleTestMissing:   "planned tests that did not come; an alert without an athlete",
	schemas.RuleFileParked:    "a file that could not be handled; an alert without an athlete",
	schemas.RuleEasier:        "HRex lower or HRR greater by 2.8 and z 2: for the digest, never an alert",
}

// wordsOfReasons says what each code means; the test fails when one is missing.
var wordsOfReasons = map[schemas.ReasonCode]string{
	schemas.ReasonNoTest:          "no test was found on the trace",
	schemas.ReasonStartUncertain:  "the start may be elsewhere",
	schemas.ReasonCutShort:        "the run stopped early",
	schemas.ReasonLowCoverage:     "too few valid seconds in a window",
	schemas.ReasonNoRecovery:      "the recording ends before the recovery does",
	schemas.ReasonNotSteady:       "heart rate does not look like a steady run",
	schemas.ReasonArtefacts:       "many readings were dropped",
	schemas.ReasonStrapSlip:       "the level leapt, as when a strap slips",
	schemas.ReasonStuck:           "the reading stood still",
	schemas.ReasonCadenceLock:     "the sensor may have counted steps",
	schemas.ReasonHRmaxExceeded:   "readings above HRmax",
	schemas.ReasonHRmaxEstimated:  "HRmax is an estimate from age: a remark",
	schemas.ReasonHRmaxUnknown:    "no HRmax: bpm only",
	schemas.ReasonLoadNotKept:     "speed was not the protocol's, or uneven",
	schemas.ReasonRecoveryBroken:  "heart rate did not fall as in standing recovery",
	schemas.ReasonHighAtStart:     "heart rate was high already when the test began",
	schemas.ReasonSensorMismatch:  "the sensor is noted for somebody else",
	schemas.ReasonSecondTest:      "the file holds another test",
	schemas.ReasonClock:           "the device's clock is off",
	schemas.ReasonFileDamaged:     "the file is damaged, and was read as far as it goes",
	schemas.ReasonStageMissing:    "a stage has no number",
	schemas.ReasonOutsideBand:     "HRex outside the intensity band",
	schemas.ReasonHighUncertainty: "the number's own error is large",
	schemas.ReasonIdentity:        "how the athlete was found",
	schemas.ReasonHRrestUnknown:   "no resting heart rate: no TRIMP",
}

// declared returns the values of a type's constants as package schemas has them.
func declared(t *testing.T, kind string) []string {
	t.Helper()
	files, err := filepath.Glob("../*.go")
	ok(t, err)
	pattern := regexp.MustCompile(`(?m)^(?:const|\t)\s*\w+\s+` + kind + `\s*= "([^"]+)"`)
	var out []string
	for _, f := range files {
		text, err := os.ReadFile(f)
		ok(t, err)
		for _, m := range pattern.FindAllStringSubmatch(string(text), -1) {
			out = append(out, m[1])
		}
	}
	if len(out) == 0 {
		t.Errorf("package schemas has no %s", kind)
	}
	return out
}

// wordTable is a table of words, each of which must have a meaning.
func wordTable[K ~string](t *testing.T, kind, heading string, words map[K]string) string {
	t.Helper()
	var b strings.Builder
	fmt.Fprintf(&b, "| %s | meaning |\n|---|---|\n", heading)
	for _, w := range declared(t, kind) {
		if words[K(w)] == "" {
			t.Errorf("%s %q has no meaning in dictionary_test.go", kind, w)
		}
		fmt.Fprintf(&b, "| %s | %s |\n", w, words[K(w)])
	}
	return b.String()
}

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
