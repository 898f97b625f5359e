package history

import (
	"context"
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

func openClickHouseReader(ctx context.Context, address string) (*clickhouseReader, error) {
	conn, err := connectClickHouse(ctx, address)
	if err != nil {
		return nil, err
	}
	return &clickhouseReader{conn: conn}, nil
}

// Close implements [Reader].
func (r *clickhouseReader) Close() error { return r.conn.Close() }

// Query implements [Reader].
func (r *clickhouseReader) Query(ctx context.Context, query string, limit int) (*Rows, error) {
	query, err := checkReading("clickhouse", query)
	if err != nil {
		return nil, fmt.Errorf("history: %w", err)
	}
	// Ends the statement on the server when the limit is reached.
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	answer, err := r.query(clickhouse.Context(ctx, clickhouse.WithSettings(clickhouse.Settings{"readonly": 1})), query, limit)
	if hasCode(err, codeReadOnly) && strings.Contains(err.Error(), "Cannot modify") {
		// The account may only read already, and so may not even say so.
		answer, err = r.query(ctx, query, limit)
	}
	switch {
	case hasCode(err, codeReadOnly):
		return nil, fmt.Errorf("history: %w: %w", ErrReadOnly, err)
	case err != nil:
		return nil, fmt.Errorf("history: query: %w", err)
	}
	return answer, nil
}

func (r *clickhouseReader) query(ctx context.Context, query string, limit int) (*Rows, error) {
	// A text without parameters: a question mark in it is one.
	rows, err := r.conn.Query(ctx, query)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	answer := &Rows{Columns: rows.Columns()}
	types := rows.ColumnTypes()
	for rows.Next() {
		if limit > 0 && len(answer.Values) == limit {
			answer.More = true
			return answer, nil
		}
		dest := make([]any, len(types))
		for i, t := range types {
			dest[i] = reflect.New(t.ScanType()).Interface()
		}
		if err := rows.Scan(dest...); err != nil {
			return nil, err
		}
		for i := range dest {
			dest[i] = plain(reflect.ValueOf(dest[i]).Elem().Interface())
		}
		answer.Values = append(answer.Values, dest)
	}
	return answer, rows.Err()
}
