package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/ClickHouse/clickhouse-go/v2"
	"github.com/ClickHouse/clickhouse-go/v2/lib/driver"

	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// current does with a ClickHouse engine of a current release what views and
// recipes do with that of 2018: it gets the same migrations and the rows that
// the program wrote, and must answer as SQLite does.
func (a *analysts) current(t *testing.T) {
	engine := historytest.NewCurrent(t)
	migrateCurrent(t, engine)
	a.moveTables(t, engine)
	t.Run("views", func(t *testing.T) {
		for _, name := range history.Names() {
			t.Run(name, func(t *testing.T) {
				query := a.everyRow(name)
				one := ask(t, a.sqlite, query)
				if name == "slots" { // marks of the schedule are not copied
					one.Values = nil
				}
				sameRows(t, one, askCurrent(t, engine, query), false)
			})
		}
	})
	t.Run("recipes", func(t *testing.T) {
		later := 0
		for _, r := range readRecipes(t) {
			t.Run(r.number, func(t *testing.T) {
				sql := r.statement("clickhouse-current")
				if sql == "" {
					sql = r.statement("clickhouse")
				} else {
					later++
				}
				sameRows(t, ask(t, a.sqlite, r.statement("sqlite")), askCurrent(t, engine, sql), true)
			})
		}
		if later == 0 {
			t.Error("no recipe is for current releases only: nothing newer than 18.16 was tried")
		}
	})
	t.Run("parquet", func(t *testing.T) { a.parquet(t, engine) })
	t.Run("index", func(t *testing.T) { a.index(t, engine) }) // last: it adds rows
}

// parquet reads what canter export wrote with a reader that is not canter's.
func (a *analysts) parquet(t *testing.T, engine *historytest.Current) {
	dir := t.TempDir()
	names := slices.DeleteFunc(history.Names(), func(n string) bool { return n == "trace_seconds" })
	command(t, "export", "--history", a.sqlite, "--dir", dir, "--format", "parquet", "--tables", strings.Join(names, ","))
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(dir, name+".parquet")
			sameRows(t, ask(t, a.sqlite, "SELECT * FROM "+name), askCurrent(t, engine, "SELECT * FROM file('"+file+"', 'Parquet')"), false)
		})
	}
}

func askCurrent(t *testing.T, engine *historytest.Current, query string) *history.Rows {
	t.Helper()
	rows, err := engine.Query(query)
	if err != nil {
		t.Fatalf("%v\n%s", err, query)
	}
	return rows
}

// migrateCurrent runs every migration as its file has it, in their order.
func migrateCurrent(t *testing.T, engine *historytest.Current) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "schemas", "history", "clickhouse", "*.sql"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d migrations, %v", len(files), err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if err := engine.Exec(strings.TrimSuffix(strings.TrimSpace(string(text)), ";")); err != nil {
			t.Fatalf("%s: %v", filepath.Base(file), err)
		}
	}
}

// moveTables copies every stored table from the old server to the current
// engine, row by row as they are: what a club does that changes its server.
func (a *analysts) moveTables(t *testing.T, engine *historytest.Current) {
	t.Helper()
	options, err := clickhouse.ParseDSN(a.clickhouse)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := clickhouse.Open(options)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	tables := ask(t, a.clickhouse, `SELECT table, groupArray(name) AS columns FROM system.columns
		WHERE database = currentDatabase() AND default_kind IN ('', 'DEFAULT') AND table IN (
			SELECT name FROM system.tables WHERE database = currentDatabase() AND engine LIKE '%MergeTree' AND name != 'canter_migrations')
		GROUP BY table ORDER BY table`)
	if len(tables.Values) < 5 {
		t.Fatalf("the server has %d tables", len(tables.Values))
	}
	filled := map[string]bool{} // by the server itself, as rows come to another table
	for _, row := range ask(t, a.clickhouse, "SELECT create_table_query FROM system.tables WHERE database = currentDatabase() AND engine = 'MaterializedView'").Values {
		m := filledTable.FindStringSubmatch(row[0].(string))
		if m == nil {
			t.Fatalf("it does not say what it fills: %s", row[0])
		}
		filled[m[1]] = true
	}
	for _, row := range tables.Values {
		if filled[row[0].(string)] {
			continue
		}
		var columns []string
		if err := json.Unmarshal([]byte(row[1].(string)), &columns); err != nil {
			t.Fatal(err)
		}
		names := "`" + strings.Join(columns, "`, `") + "`"
		rows, err := conn.Query(t.Context(), fmt.Sprintf("SELECT %s FROM %s", names, row[0]))
		if err != nil {
			t.Fatal(err)
		}
		lines, err := rowLines(rows)
		if err != nil {
			t.Fatalf("%s: %v", row[0], err)
		}
		if lines == "" {
			continue
		}
		if err := engine.Exec(fmt.Sprintf("INSERT INTO %s (%s) FORMAT JSONCompactEachRow %s", row[0], names, lines)); err != nil {
			t.Fatalf("%s: %.2000s", row[0], err)
		}
	}
}

var filledTable = regexp.MustCompile("^CREATE MATERIALIZED VIEW \\S+ TO `?(?:\\w+`?\\.)?`?(\\w+)")

// rowLines writes rows as ClickHouse's JSON, an array a line; "nan" stands where
// JSON has no number.
func rowLines(rows driver.Rows) (string, error) {
	defer rows.Close()
	var out bytes.Buffer
	types := rows.ColumnTypes()
	for rows.Next() {
		values := make([]any, len(types))
		for i, t := range types {
			values[i] = reflect.New(t.ScanType()).Interface()
		}
		if err := rows.Scan(values...); err != nil {
			return "", err
		}
		out.WriteByte('[')
		for i, v := range values {
			if i > 0 {
				out.WriteByte(',')
			}
			if err := writeValue(&out, reflect.ValueOf(v).Elem(), types[i].DatabaseTypeName()); err != nil {
				return "", fmt.Errorf("%s: %w", types[i].Name(), err)
			}
		}
		out.WriteString("]\n")
	}
	return out.String(), rows.Err()
}

func writeValue(out *bytes.Buffer, v reflect.Value, kind string) error {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			out.WriteString("null")
			return nil
		}
		return writeValue(out, v.Elem(), kind)
	case reflect.Slice:
		out.WriteByte('[')
		for i := range v.Len() {
			if i > 0 {
				out.WriteByte(',')
			}
			if err := writeValue(out, v.Index(i), kind); err != nil {
				return err
			}
		}
		out.WriteByte(']')
		return nil
	case reflect.Float32, reflect.Float64:
		if f := v.Float(); math.IsNaN(f) {
			out.WriteString(`"nan"`)
		} else {
			out.WriteString(strconv.FormatFloat(f, 'g', -1, 64))
		}
		return nil
	}
	value := v.Interface()
	if at, ok := value.(time.Time); ok {
		layout := time.DateTime
		if strings.Contains(kind, "Date") && !strings.Contains(kind, "DateTime") {
			layout = time.DateOnly
		}
		value = at.UTC().Format(layout)
	}
	text, err := json.Marshal(value)
	out.Write(text)
	return err
}
