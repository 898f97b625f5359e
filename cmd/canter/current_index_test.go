package main

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"canter.example/schemas/history/historytest"
)

// copies is how often the season is laid into the current engine once more,
// with other athletes and squads: enough for tables of many granules.
const copies = 300

// index asks the current engine how it would answer the two questions that are
// asked most, and wants the primary index to leave it a small part of each large
// table. What the views and tables are it need not know.
func (a *analysts) index(t *testing.T, engine *historytest.Current) {
	for _, table := range []string{"stored_tests", "stored_athlete_assessments"} {
		multiply(t, engine, table)
	}
	squad := ask(t, a.sqlite, "SELECT squad, local_date, athlete FROM session_tests WHERE valid = 1 AND hrex_z IS NOT NULL ORDER BY local_date DESC, athlete LIMIT 1").Values[0]
	for question, query := range map[string]string{
		"one athlete over time": fmt.Sprintf("SELECT test_id, start, hrex_pct, hrr60_bpm, quality FROM tests WHERE athlete = '%s 7' ORDER BY start_ms", squad[2]),
		"one athlete's changes": fmt.Sprintf("SELECT test_id, measure, change, z FROM assessments WHERE athlete = '%s 7' ORDER BY start_ms", squad[2]),
		"one squad on a day":    fmt.Sprintf("SELECT athlete, hrex_pct, hrex_z, hrr60_bpm FROM session_tests WHERE squad = '%s 7' AND local_date = '%s' ORDER BY athlete", squad[0], squad[1]),
	} {
		t.Run(question, func(t *testing.T) {
			if rows := askCurrent(t, engine, query); len(rows.Values) == 0 {
				t.Fatalf("no answer to %s", query)
			}
			plan, err := engine.Text("EXPLAIN indexes = 1 "+query, "TSVRaw")
			if err != nil {
				t.Fatal(err)
			}
			reads := readsOf(plan)
			large := 0
			for _, r := range reads {
				if r.of < 20 {
					continue
				}
				large++
				if r.granules > max(3*r.parts, r.of/10) {
					t.Errorf("of %s it reads %d granules of %d", r.table, r.granules, r.of)
				}
				t.Logf("%s: %d granules of %d, in %d parts", r.table, r.granules, r.of, r.parts)
			}
			if large == 0 {
				t.Errorf("no large table is read: %s", plan)
			}
		})
	}
}

// multiply adds copies of a table's rows, of athletes, squads and sessions with
// the copy's number in their names.
func multiply(t *testing.T, engine *historytest.Current, table string) {
	t.Helper()
	var names, values []string
	for _, row := range askCurrent(t, engine, "SELECT name FROM system.columns WHERE database = currentDatabase() AND table = '"+table+"'").Values {
		name := row[0].(string)
		value := "`" + name + "`"
		switch name {
		case "athlete", "squad", "test_id":
			value = "concat(" + name + ", ' ', toString(number))"
		case "session":
			value = "replaceOne(session, '/', concat(' ', toString(number), '/'))"
		case "write_id":
			value = "cityHash64(write_id, number)"
		}
		names, values = append(names, "`"+name+"`"), append(values, value)
	}
	sql := fmt.Sprintf("INSERT INTO %s (%s) SELECT %s FROM %[1]s CROSS JOIN numbers(1, %[4]d) AS n", table, strings.Join(names, ", "), strings.Join(values, ", "), copies)
	if err := engine.Exec(sql); err != nil {
		t.Fatalf("%s: %v", table, err)
	}
}

// tableRead is what a plan says of one table: how many granules the primary
// index leaves, of how many.
type tableRead struct {
	table               string
	parts, granules, of int
}

var (
	planTable    = regexp.MustCompile(`ReadFromMergeTree \(([^)]+)\)`)
	planGranules = regexp.MustCompile(`Parts: (\d+)/\d+\s+[^A-Za-z]*Granules: (\d+)/(\d+)`)
)

func readsOf(plan string) []tableRead {
	var reads []tableRead
	at := planTable.FindAllStringSubmatchIndex(plan, -1)
	for i, m := range at {
		end := len(plan)
		if i+1 < len(at) {
			end = at[i+1][0]
		}
		_, primary, found := strings.Cut(plan[m[1]:end], "PrimaryKey")
		if g := planGranules.FindStringSubmatch(primary); found && g != nil {
			r := tableRead{table: plan[m[2]:m[3]]}
			r.parts, _ = strconv.Atoi(g[1])
			r.granules, _ = strconv.Atoi(g[2])
			r.of, _ = strconv.Atoi(g[3])
			reads = append(reads, r)
		}
	}
	return reads
}
