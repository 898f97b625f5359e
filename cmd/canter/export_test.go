package main

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

// export writes the season in both forms, from both engines, and reads it back
// with the libraries that analysts' tools use.
func (a *analysts) export(t *testing.T) {
	for engine, address := range map[string]string{"sqlite": a.sqlite, "clickhouse": a.clickhouse} {
		dir := t.TempDir()
		// Traces are many rows of kinds that the others have as well.
		names := slices.DeleteFunc(history.Names(), func(n string) bool { return n == "trace_seconds" })
		for _, format := range []string{"csv", "parquet"} {
			command(t, "export", "--history", address, "--dir", dir, "--format", format, "--tables", strings.Join(names, ","))
		}
		for _, name := range names {
			want := ask(t, address, "SELECT count(*) FROM "+name).Values[0][0]
			columns := history.Columns(name)
			records := readCSV(t, filepath.Join(dir, name+".csv"))
			if got := len(records) - 1; fmt.Sprint(got) != fmt.Sprint(want) || len(records[0]) != len(columns) {
				t.Errorf("%s %s.csv: %d rows of %d columns, want %v of %d", engine, name, got, len(records[0]), want, len(columns))
			}
			rows := readParquet(t, filepath.Join(dir, name+".parquet"))
			if fmt.Sprint(len(rows)) != fmt.Sprint(want) {
				t.Errorf("%s %s.parquet: %d rows, want %v", engine, name, len(rows), want)
			}
			for _, r := range records[1:] { // ClickHouse's times are in whole seconds
				for j, c := range columns {
					if c.Kind == history.Time && len(r[j]) == len("2006-01-02T15:04:05Z") {
						r[j] = strings.TrimSuffix(r[j], "Z") + ".000Z"
					}
				}
			}
			sameCells(t, engine+" "+name, columns, records[1:], rows)
		}
		dictionary, err := os.ReadFile(filepath.Join(dir, "DICTIONARY.md"))
		if err != nil || string(dictionary) != history.Dictionary {
			t.Errorf("the data dictionary is not beside the files: %v", err)
		}
	}
}

func readCSV(t *testing.T, file string) [][]string {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil || len(records) == 0 {
		t.Fatalf("%s: %v", file, err)
	}
	return records
}

func readParquet(t *testing.T, file string) []parquet.Row {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := parquet.NewReader(f)
	defer r.Close()
	var rows []parquet.Row
	buffer := make([]parquet.Row, 256)
	for {
		n, err := r.ReadRows(buffer)
		for _, row := range buffer[:n] {
			rows = append(rows, row.Clone())
		}
		if err != nil || n == 0 {
			return rows
		}
	}
}

// sameCells holds the two forms of a table against each other. Rows of a table
// have no order.
func sameCells(t *testing.T, what string, columns []history.Column, records [][]string, rows []parquet.Row) {
	t.Helper()
	others := make([][]string, len(rows))
	for i, row := range rows {
		others[i] = make([]string, len(columns))
		for j, c := range columns {
			others[i][j] = parquetCell(c, row[j])
		}
	}
	slices.SortFunc(records, slices.Compare[[]string])
	slices.SortFunc(others, slices.Compare[[]string])
	for i := range records {
		if !slices.Equal(records[i], others[i]) {
			t.Fatalf("%s, row %d:\nCSV     %q\nParquet %q", what, i+1, records[i], others[i])
		}
	}
}

// parquetCell writes a value as the CSV has it.
func parquetCell(c history.Column, v parquet.Value) string {
	switch {
	case v.IsNull():
		return ""
	case c.Kind == history.Integer:
		return fmt.Sprint(v.Int64())
	case c.Kind == history.Float:
		return fmt.Sprint(v.Double())
	case c.Kind == history.Time:
		return time.UnixMilli(v.Int64()).UTC().Format("2006-01-02T15:04:05.000Z")
	default:
		return unformula(string(v.ByteArray()))
	}
}

// Words that a spreadsheet would run arrive with an apostrophe before them,
// numbers stay numbers.
func TestExportNeutralisesFormulas(t *testing.T) {
	dir := t.TempDir()
	address := filepath.Join(dir, "history.db")
	h, err := history.Open(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	c := schemas.Correction{ID: "c1", TestID: "t1", Action: schemas.ActionExclude, Who: "@physio", When: time.UnixMilli(-5), Why: `=HYPERLINK("http://example.invalid","x")`}
	if err := h.SaveCorrection(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	command(t, "export", "--history", address, "--dir", filepath.Join(dir, "out"), "--tables", "corrections")
	record := readCSV(t, filepath.Join(dir, "out", "corrections.csv"))[1]
	if got := strings.Join(record, "|"); !strings.Contains(got, `|'@physio|`) || !strings.Contains(got, `|'=HYPERLINK`) || !strings.Contains(got, "|-5|") {
		t.Errorf("got %s", got)
	}
	entries, err := os.ReadDir(filepath.Join(dir, "out"))
	if err != nil || len(entries) != 2 {
		t.Errorf("%d files, want corrections.csv and DICTIONARY.md: %v", len(entries), err)
	}
}
