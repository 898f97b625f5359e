package history_test

import (
	"fmt"
	"slices"
	"testing"

	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// A column that is in a table and not in the list of what is written would be
// filled with the engine's default, in silence.
func TestEveryColumnIsWritten(t *testing.T) {
	t.Parallel()
	for name, e := range map[string]struct{ address, columns string }{
		"SQLite":     {historytest.SQLite(t), "SELECT name FROM pragma_table_info('%s')"},
		"ClickHouse": {historytest.ClickHouse(t), "SELECT name FROM system.columns WHERE database = currentDatabase() AND table = '%s'"},
	} {
		t.Run(name, func(t *testing.T) {
			s := open(t, e.address)
			for table, written := range history.WrittenColumns(name == "ClickHouse") {
				r, err := s.Query(t.Context(), fmt.Sprintf(e.columns, table), 0)
				ok(t, err)
				var there []string
				for _, row := range r.Values {
					there = append(there, row[0].(string))
				}
				same(t, table, slices.Sorted(slices.Values(there)), slices.Sorted(slices.Values(written)))
			}
		})
	}
}
