package history

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"

	"github.com/ClickHouse/clickhouse-go/v2"
	"github.com/ClickHouse/clickhouse-go/v2/lib/driver"
)

// clickhouseReader answers other people's queries with the server's setting
// readonly=1, under which it refuses to write and to change settings.
type clickhouseReader struct {
	conn driver.Conn
}

var _ Reader = (*clickhouseReader)(nil)

// readingSettings go with each query. Without the second, which is the default
// of current releases, old servers work a view out before they look at the
// conditions on it.
var readingSettings = clickhouse.Settings{"readonly": 1, "enable_optimize_predicate_expression": 1}

func openClickHouseReader(ctx context.Context, address string) (*clickhouseReader, error) {
	o, _, err := clickhouseOptions(address)
	if err != nil {
		return nil, err
	}
	// Without the settings that canter writes with: a reading account may set none.
	conn, err := connect(ctx, o)
	if err != nil {
		return nil, err
	}
	return &clickhouseReader{conn: conn}, nil
}

// Close implements [Reader].
func (r *clickhouseReader) Close() error { return r.conn.Close() }

// Query implements [Reader].
func (r *clickhouseReader) Query(ctx context.Context, query string, limit int) (*Rows, error) {
	return collect(ctx, r, query, limit)
}

// Each implements [Reader].
func (r *clickhouseReader) Each(ctx context.Context, query string, begin func([]string) error, row func([]any) error) error {
	query, err := checkReading("clickhouse", query)
	if err != nil {
		return fmt.Errorf("history: %w", err)
	}
	// Ends the statement on the server when whoever asked has had enough.
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	// A text without parameters: a question mark in it is one.
	rows, err := r.conn.Query(clickhouse.Context(ctx, clickhouse.WithSettings(readingSettings)), query)
	if hasCode(err, codeReadOnly) && strings.Contains(err.Error(), "Cannot modify") {
		// The account may only read already, and so may not even say so.
		rows, err = r.conn.Query(ctx, query)
	} else if _, refused := errors.AsType[*clickhouse.Exception](err); refused {
		// Old servers stumble over some statements when they move conditions
		// inwards; without that they are slower and right.
		rows, err = r.conn.Query(clickhouse.Context(ctx, clickhouse.WithSettings(clickhouse.Settings{"readonly": 1})), query)
	}
	if err != nil {
		return clickhouseQueryError(err)
	}
	defer rows.Close()
	if err := begin(rows.Columns()); err != nil {
		return err
	}
	// Each row is scanned into the same places; what a row is given of them is its own.
	types := rows.ColumnTypes()
	places, cells := make([]any, len(types)), make([]cell, len(types))
	for i, t := range types {
		places[i] = reflect.New(t.ScanType()).Interface()
		cells[i].place = places[i]
	}
	var room []any
	for rows.Next() {
		if err := rows.Scan(places...); err != nil {
			return clickhouseQueryError(err)
		}
		if len(room) < len(types) {
			room = make([]any, rowsAtOnce*len(types))
		}
		values := room[:len(types):len(types)]
		room = room[len(types):]
		for i := range values {
			values[i] = cells[i].value()
		}
		if err := row(values); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return clickhouseQueryError(err)
	}
	return nil
}

// rowsAtOnce is for how many rows room is made at once.
const rowsAtOnce = 16

// cell reads the place that a column of an answer is scanned into. Most columns
// repeat their value from row to row, and the kinds that nearly all columns have
// need no reflection: both spare memory, which is half of the time an answer takes.
type cell struct {
	place any
	texts string
	float float64
	last  any // of texts or float
}

// value is [plain] of what is in the place.
func (c *cell) value() any {
	switch p := c.place.(type) {
	case *string:
		return c.text(*p)
	case *float64:
		return c.number(*p)
	case **float64:
		if *p == nil {
			return nil
		}
		return c.number(**p)
	case *int64:
		return *p
	case *uint64:
		return *p
	default:
		return plain(reflect.ValueOf(c.place).Elem().Interface())
	}
}

func (c *cell) text(s string) any {
	if c.last == nil || s != c.texts {
		c.texts, c.last = s, s
	}
	return c.last
}

func (c *cell) number(f float64) any {
	if c.last == nil || f != c.float {
		c.float, c.last = f, finite(f)
	}
	return c.last
}

// clickhouseQueryError says in canter's words that a write was refused.
func clickhouseQueryError(err error) error {
	if hasCode(err, codeReadOnly) {
		return fmt.Errorf("history: %w: %w", ErrReadOnly, err)
	}
	return fmt.Errorf("history: query: %w", err)
}
