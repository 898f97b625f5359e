package history_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// A server of 2018 has no codecs and says so; a current engine has them, takes
// ours once for every large table, keeps the same rows and less of the disk.
func TestCodecsWhereTheServerHasThem(t *testing.T) {
	t.Parallel()
	old := open(t, historytest.ClickHouse(t))
	same(t, "codecs of the old server", one(t, old, history.TakesCodecs), 0)

	engine := historytest.NewCurrent(t)
	text := func(sql string) string {
		t.Helper()
		answer, err := engine.Text(sql, "TSVRaw")
		if err != nil {
			t.Fatalf("%v\n%s", err, sql)
		}
		return strings.TrimSpace(answer)
	}
	same(t, "codecs of a current engine", text(history.TakesCodecs), "1")
	files, err := filepath.Glob("clickhouse/*.sql")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d migrations, %v", len(files), err)
	}
	for _, file := range files {
		sql, err := os.ReadFile(file)
		ok(t, err)
		text(strings.TrimSuffix(strings.TrimSpace(string(sql)), ";"))
	}
	text(`INSERT INTO stored_tests (test_id, file_id, athlete, squad, session, start_ms, hrex_bpm, quality, write_id)
		SELECT substring(file_id, 1, 16), lower(hex(SHA256(toString(number)))) AS file_id, toString(number % 400), 'U21',
		       concat('U21/run-12/', toString(toDate('2015-01-05') + 7 * intDiv(number, 400))), 1420452000000 + 604800000 * intDiv(number, 400), 160 + number % 1700 / 100, 'good', number
		FROM numbers(50000)`)
	measure := func() (bytes int64, rows, content string) {
		text("OPTIMIZE TABLE stored_tests FINAL")
		if _, err := fmt.Sscan(text("SELECT sum(bytes_on_disk) FROM system.parts WHERE database = currentDatabase() AND table = 'stored_tests' AND active"), &bytes); err != nil {
			t.Fatal(err)
		}
		return bytes, text("SELECT count() FROM stored_tests"), text("SELECT sum(cityHash64(test_id, file_id, athlete, session, start_ms, hrex_bpm)) FROM stored_tests")
	}
	before, rows, content := measure()
	for _, table := range history.CodecTables() {
		ask := fmt.Sprintf(history.WithoutCodec, table)
		columns := strings.Fields(text(ask))
		if len(columns) < 2 {
			t.Fatalf("%s has the columns %q without a codec", table, columns)
		}
		text(history.AlterCodecs(table, columns))
		same(t, "columns of "+table+" without a codec, then", text(ask), "")
	}
	after, rowsAfter, contentAfter := measure()
	t.Logf("%d bytes a test, then %d", before/50000, after/50000)
	if after*10 > before*8 {
		t.Errorf("%d bytes on the disk, %d with codecs", before, after)
	}
	same(t, "rows", rowsAfter, rows)
	same(t, "content", contentAfter, content)
}
