package main

import (
	"bufio"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"canter.example/schemas/history"
)

type exportCmd struct {
	Dir    string   `required:"" help:"Folder to write into; made when it is not there." type:"path" placeholder:"FOLDER"`
	Format string   `help:"Form of the files: ${enum}; json is one object a line, and so is what is said of the files." enum:"csv,parquet,json" default:"csv"`
	Tables []string `help:"Only these tables and views (default: all)." placeholder:"NAME"`
	places
}

// Help is shown below the options.
func (exportCmd) Help() string {
	return `Writes one file for each table and view of the history, and DICTIONARY.md, which
says what their columns hold. In CSV, text that a spreadsheet would run as a
formula has an apostrophe before it. Tables are read one after the other: stop
canter serve first if they must be of one moment.

As JSON canter says of each file: file, table, rows.

The files hold health data: keep them as carefully as the history itself.

Examples:
  canter export --dir season-2026
  canter export --dir season-2026 --format parquet --tables tests,trace_seconds`
}

// endings are those of the files' names.
var endings = map[string]string{"csv": "csv", "parquet": "parquet", "json": "jsonl"}

// exported is the JSON form of what is said of a file.
type exported struct {
	File  string `json:"file"`
	Table string `json:"table"`
	Rows  int    `json:"rows"`
}

// rowWriter writes the rows of one table.
type rowWriter interface {
	// write writes a row, its values in the columns' order.
	write(values []any) error
	// close writes what is left.
	close() error
}

// Run exports the history.
func (c *exportCmd) Run(ctx context.Context, std streams) error {
	names, err := c.names()
	if err != nil {
		return err
	}
	r, err := c.readHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = r.Close() }()
	if err := os.MkdirAll(c.Dir, 0o700); err != nil {
		return err
	}
	var rows [][]string
	var files []exported
	shown := newProgress(std.err, "tables", len(names))
	defer shown.clear()
	for i, name := range names {
		shown.to(i)
		file := name + "." + endings[c.Format]
		n, err := c.table(ctx, r, name, filepath.Join(c.Dir, file))
		if err != nil {
			return fmt.Errorf("export %s: %w", name, err)
		}
		files = append(files, exported{filepath.Join(c.Dir, file), name, n})
		rows = append(rows, []string{file, fmt.Sprint(n)})
	}
	err = whole(filepath.Join(c.Dir, "DICTIONARY.md"), func(w io.Writer) error {
		_, err := io.WriteString(w, history.Dictionary)
		return err
	})
	if err != nil {
		return err
	}
	shown.clear()
	if c.Format == "json" {
		return jsonLines(std.out, files...)
	}
	if err := table(std.out, []string{"file", "rows"}, rows); err != nil {
		return err
	}
	_, err = fmt.Fprintf(std.out, "What the columns hold: %s\n", filepath.Join(c.Dir, "DICTIONARY.md"))
	return err
}

// names returns the tables that were asked for.
func (c *exportCmd) names() ([]string, error) {
	all := history.Names()
	if len(c.Tables) == 0 {
		return all, nil
	}
	for _, name := range c.Tables {
		if !slices.Contains(all, name) {
			return nil, usagef("there is no table %q: %s", name, strings.Join(all, ", "))
		}
	}
	return c.Tables, nil
}

// table writes one table and returns how many rows it has.
func (c *exportCmd) table(ctx context.Context, r history.Reader, name, file string) (int, error) {
	n := 0
	err := whole(file, func(w io.Writer) error {
		var out rowWriter
		begin := func(columns []string) (err error) {
			switch c.Format {
			case "parquet":
				out, err = newParquetTable(w, name, columns)
			case "json":
				out = &jsonTable{bufio.NewWriter(w), columns}
			default:
				out, err = newCSVTable(w, columns)
			}
			return err
		}
		row := func(values []any) error {
			n++
			return out.write(values)
		}
		if err := r.Each(ctx, "SELECT * FROM "+name, begin, row); err != nil {
			return err
		}
		return out.close()
	})
	return n, err
}

// whole makes a file that is there whole or not at all, in the place of one that
// was there. It may hold health data, so it is for this user's eyes only.
func whole(file string, write func(w io.Writer) error) error {
	dir := filepath.Dir(file)
	if info, err := os.Stat(file); err == nil && info.IsDir() {
		return fmt.Errorf("%s is a folder: name a file in it", file)
	}
	if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("there is no folder %s: make it first", dir)
	}
	f, err := os.CreateTemp(dir, ".canter-*")
	if err != nil {
		return err
	}
	if err = write(f); err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(f.Name(), file)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// csvTable is a table as a spreadsheet reads it.
type csvTable struct{ w *csv.Writer }

func newCSVTable(w io.Writer, columns []string) (*csvTable, error) {
	t := &csvTable{csv.NewWriter(w)}
	return t, t.w.Write(columns)
}

func (t *csvTable) write(values []any) error { return t.w.Write(csvCells(values)) }

func (t *csvTable) close() error {
	t.w.Flush()
	return t.w.Error()
}

// jsonTable is a table with one object a line.
type jsonTable struct {
	w       *bufio.Writer
	columns []string
}

func (t *jsonTable) write(values []any) error { return rowJSON(t.w, t.columns, values) }

func (t *jsonTable) close() error { return t.w.Flush() }
