package scale

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"canter.example/schemas/history/historytest"
)

// On a current engine, too, the two questions asked most go by the primary keys
// of the tables below the views.
func TestTheTwoQuestionsGoByAnIndexOnCurrentServers(t *testing.T) {
	engine := historytest.NewCurrent(t)
	files, err := filepath.Glob(filepath.Join("..", "..", "..", "schemas", "history", "clickhouse", "*.sql"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d migrations, %v", len(files), err)
	}
	exec := func(sql string) {
		t.Helper()
		if err := engine.Exec(sql); err != nil {
			t.Fatalf("%v\n%s", err, sql)
		}
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		exec(strings.TrimSuffix(strings.TrimSpace(string(text)), ";"))
	}
	const names = "concat('t', toString(number)) AS test_id, toString(number % 2000) AS athlete, concat('club ', toString(number % 50)) AS squad, 'run-12' AS protocol, " +
		"concat(squad, '/run-12/', toString(toDate('2015-01-05') + 7 * intDiv(number, 2000))) AS session"
	exec("INSERT INTO stored_tests (test_id, athlete, squad, protocol, session, quality, write_id) SELECT " + names + ", 'good', number FROM numbers(100000)")
	exec("INSERT INTO stored_athlete_assessments (test_id, athlete, squad, protocol, session, write_id) SELECT " + names + ", 1000000 + number FROM numbers(100000)")
	granules := regexp.MustCompile(`Granules: (\d+)/(\d+)`)
	for question, want := range map[string]struct {
		key    string
		tables int
	}{
		"SELECT * FROM valid_tests WHERE athlete = '17' ORDER BY start_ms":                       {"athlete", 1},
		"SELECT * FROM session_tests WHERE squad = 'club 17' AND local_date = '2015-03-02'":      {"squad", 2},
		"SELECT * FROM session_changes WHERE squad = 'club 17' AND local_date = '2015-03-02'":    {"squad", 2},
		"SELECT * FROM latest_tests WHERE athlete = '17'":                                        {"athlete", 2},
		"SELECT measure, z FROM assessments WHERE athlete = '17' AND measure = 'hrex'":           {"athlete", 1},
		"SELECT test_id, trimp_3d FROM tests_with_load WHERE athlete = '17' ORDER BY local_date": {"athlete", 1},
	} {
		text, err := engine.Text("EXPLAIN indexes = 1 "+question, "TSVRaw")
		if err != nil {
			t.Fatalf("%v\n%s", err, question)
		}
		narrowed := 0
		for _, read := range strings.Split(text, "ReadFromMergeTree")[1:] {
			m := granules.FindStringSubmatch(read)
			if m == nil || !strings.Contains(read, "PrimaryKey") || !strings.Contains(read, want.key) {
				continue
			}
			some, err := strconv.Atoi(m[1])
			if err != nil {
				t.Fatal(err)
			}
			if all, _ := strconv.Atoi(m[2]); all > 20 && some*10 <= all {
				narrowed++
			}
		}
		if narrowed < want.tables {
			t.Errorf("%s: %d tables of %d are read by their key:\n%s", question, narrowed, want.tables, fmt.Sprint(text))
		}
	}
}
