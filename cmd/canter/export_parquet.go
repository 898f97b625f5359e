package main

import (
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"

	"canter.example/schemas/history"
)

// parquetBatch is how many rows are handed to the library at once.
const parquetBatch = 1024

// parquetTable is a table as data frames read it: numbers are numbers, times
// are timestamps in milliseconds, UTC, and what is absent is null.
type parquetTable struct {
	w       *parquet.GenericWriter[any]
	columns []history.Column
	rows    []parquet.Row
}

func newParquetTable(w io.Writer, name string, columns []string) (*parquetTable, error) {
	known := history.Columns(name)
	t := &parquetTable{columns: known}
	if !slices.EqualFunc(known, columns, func(c history.Column, n string) bool { return c.Name == n }) {
		return nil, fmt.Errorf("its columns are not those of the data dictionary: was the history made by another version of canter? Open it once with this one, for example with canter tests list")
	}
	// A struct keeps the columns in their order, which a group of nodes does not.
	fields := make([]reflect.StructField, len(known))
	for i, c := range known {
		field := reflect.StructField{Name: fmt.Sprintf("C%d", i), Tag: reflect.StructTag(`parquet:"` + c.Name + `,optional,zstd"`)}
		switch c.Kind {
		case history.Integer:
			field.Type = reflect.TypeFor[int64]()
		case history.Float:
			field.Type = reflect.TypeFor[float64]()
		case history.Time:
			field.Type = reflect.TypeFor[time.Time]()
			field.Tag = reflect.StructTag(`parquet:"` + c.Name + `,optional,zstd,timestamp(millisecond)"`)
		default:
			field.Type = reflect.TypeFor[string]()
		}
		fields[i] = field
	}
	schema := parquet.SchemaOf(reflect.New(reflect.StructOf(fields)).Interface())
	t.w = parquet.NewGenericWriter[any](w, schema, parquet.CreatedBy("canter", "", ""))
	return t, nil
}

func (t *parquetTable) write(values []any) error {
	row := make(parquet.Row, len(values))
	for i, v := range values {
		value, err := parquetValue(t.columns[i], v)
		if err != nil {
			return fmt.Errorf("column %s: %w", t.columns[i].Name, err)
		}
		present := 1
		if value.IsNull() {
			present = 0
		}
		row[i] = value.Level(0, present, i)
	}
	t.rows = append(t.rows, row)
	if len(t.rows) < parquetBatch {
		return nil
	}
	return t.flush()
}

func (t *parquetTable) flush() error {
	_, err := t.w.WriteRows(t.rows)
	t.rows = t.rows[:0]
	return err
}

func (t *parquetTable) close() error {
	if err := t.flush(); err != nil {
		return err
	}
	return t.w.Close()
}

// parquetValue turns a value as a query gives it into that of a column.
func parquetValue(c history.Column, v any) (parquet.Value, error) {
	switch v := v.(type) {
	case nil:
		return parquet.NullValue(), nil
	case int64:
		if c.Kind == history.Float {
			return parquet.DoubleValue(float64(v)), nil
		}
		if c.Kind == history.Integer {
			return parquet.Int64Value(v), nil
		}
	case uint64:
		if c.Kind == history.Integer {
			return parquet.Int64Value(int64(v)), nil
		}
	case float64:
		if c.Kind == history.Float {
			return parquet.DoubleValue(v), nil
		}
	case string:
		if c.Kind == history.Text {
			return parquet.ByteArrayValue([]byte(strings.ToValidUTF8(v, "�"))), nil
		}
		if c.Kind == history.Time {
			at, err := time.Parse(time.RFC3339Nano, v)
			if err != nil {
				return parquet.Value{}, err
			}
			return parquet.Int64Value(at.UnixMilli()), nil
		}
	}
	return parquet.Value{}, fmt.Errorf("a %T is no %s", v, c.Kind)
}
