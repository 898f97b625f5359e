package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode"

	"canter.example/schemas/history"
)

// table writes aligned columns: a heading row, then rows.
func table(w io.Writer, heading []string, rows [][]string) error {
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	if _, err := fmt.Fprintln(t, strings.Join(heading, "\t")); err != nil {
		return err
	}
	for _, r := range rows {
		for i := range r {
			r[i] = printable(r[i])
		}
		if _, err := fmt.Fprintln(t, strings.Join(r, "\t")); err != nil {
			return err
		}
	}
	return t.Flush()
}

// printable keeps a cell on its line and a terminal in its senses: names come
// from files and spreadsheets.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\t' || r == '\n' || r == '\r' {
			return ' '
		}
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, s)
}

// writeRows writes the answer to a query in the given format.
func writeRows(w io.Writer, rows *history.Rows, format string) error {
	switch format {
	case "json":
		return rowsJSON(w, rows)
	case "csv":
		return rowsCSV(w, rows)
	default:
		cells := make([][]string, len(rows.Values))
		for i, v := range rows.Values {
			cells[i] = texts(v)
		}
		return table(w, rows.Columns, cells)
	}
}

func texts(values []any) []string {
	out := make([]string, len(values))
	for i, v := range values {
		switch v := v.(type) {
		case nil:
			out[i] = ""
		case float64:
			out[i] = fmt.Sprintf("%.6g", v)
		default:
			out[i] = fmt.Sprint(v)
		}
	}
	return out
}

// rowsCSV writes a spreadsheet's CSV. Text that a spreadsheet would run as a
// formula gets an apostrophe before it; numbers stay numbers.
func rowsCSV(w io.Writer, rows *history.Rows) error {
	c := csv.NewWriter(w)
	if err := c.Write(rows.Columns); err != nil {
		return err
	}
	for _, v := range rows.Values {
		if err := c.Write(csvCells(v)); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

func csvCells(values []any) []string {
	cells := make([]string, len(values))
	for i, x := range values {
		switch x := x.(type) {
		case nil:
		case string:
			cells[i] = unformula(x)
		default:
			cells[i] = fmt.Sprint(x)
		}
	}
	return cells
}

func unformula(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

// rowsJSON writes one object a line.
func rowsJSON(w io.Writer, rows *history.Rows) error {
	for _, v := range rows.Values {
		if err := rowJSON(w, rows.Columns, v); err != nil {
			return err
		}
	}
	return nil
}

// rowJSON writes one object on a line, its keys in the columns' order.
func rowJSON(w io.Writer, columns []string, values []any) error {
	var b strings.Builder
	b.WriteByte('{')
	for i, x := range values {
		if i > 0 {
			b.WriteByte(',')
		}
		key, err := json.Marshal(columns[i])
		if err != nil {
			return err
		}
		value, err := json.Marshal(x)
		if err != nil {
			return err
		}
		b.Write(key)
		b.WriteByte(':')
		b.Write(value)
	}
	b.WriteString("}\n")
	_, err := io.WriteString(w, b.String())
	return err
}
