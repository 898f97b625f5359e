package history

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

// Erase implements [Store]. Rows go by mutations, which rewrite the parts that
// hold them; it returns when the server has done them all.
func (s *clickhouseStore) Erase(ctx context.Context, who Erasure) (*Erased, error) {
	e, end, err := s.eraser(ctx)
	if err != nil {
		return nil, err
	}
	done, err := erase(ctx, e, who)
	return done, errors.Join(err, end())
}

// Retain implements [Store]. Rows go by mutations, as in Erase.
func (s *clickhouseStore) Retain(ctx context.Context, before time.Time) (*Retained, error) {
	e, end, err := s.eraser(ctx)
	if err != nil {
		return nil, err
	}
	done, err := retain(ctx, e, before, func(r *Retained) error {
		return s.MarkSlot(ctx, RetainJob, r.String(), time.Now())
	})
	return done, errors.Join(err, end())
}

// clickhouseEraser implements eraser. Names of tables and columns come from the
// server's own lists.
type clickhouseEraser struct{ s *clickhouseStore }

func (e clickhouseEraser) textColumns(ctx context.Context) (map[string][]string, error) {
	rows, err := e.s.conn.Query(ctx, `SELECT table, name FROM system.columns
		WHERE database = currentDatabase() AND type = 'String' AND table IN (
			SELECT name FROM system.tables WHERE database = currentDatabase() AND engine LIKE '%MergeTree' AND name != '`+versionTable+`')`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	tables := map[string][]string{}
	for rows.Next() {
		var table, column string
		if err := rows.Scan(&table, &column); err != nil {
			return nil, err
		}
		tables[table] = append(tables[table], column)
	}
	return tables, rows.Err()
}

func (e clickhouseEraser) texts(ctx context.Context, table string, columns []string, where string, args []any, row func([]string)) error {
	rows, err := e.s.conn.Query(ctx, "SELECT "+strings.Join(columns, ", ")+" FROM "+table+" WHERE "+where, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	values, dest := make([]string, len(columns)), make([]any, len(columns))
	for i := range values {
		dest[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(dest...); err != nil {
			return err
		}
		row(values)
	}
	return rows.Err()
}

func (e clickhouseEraser) remove(ctx context.Context, table, where string, args []any) (int, error) {
	var n uint64
	if err := e.s.conn.QueryRow(ctx, "SELECT count() FROM "+table+" WHERE "+where, args...).Scan(&n); err != nil || n == 0 {
		return 0, err
	}
	return int(n), e.s.conn.Exec(ctx, "ALTER TABLE "+table+" DELETE WHERE "+where, args...)
}

// blank waits for what was begun before: in one order, an update can't bring
// back what a removal took.
func (e clickhouseEraser) blank(ctx context.Context, table, column, text, where string, args []any) error {
	if err := e.settle(ctx); err != nil {
		return err
	}
	if err := e.update(ctx, table, column, text, where, args); err != nil {
		return err
	}
	return e.settle(ctx)
}

func (e clickhouseEraser) update(ctx context.Context, table, column, text, where string, args []any) error {
	return e.s.conn.Exec(ctx, "ALTER TABLE "+table+" UPDATE "+column+" = ? WHERE "+where, append([]any{text}, args...)...)
}

func mutationsLeft(n uint64, err error) error {
	return fmt.Errorf("%d mutations are under way, the server goes on with them: run it again to see that nothing is left: %w", n, err)
}

// wait implements eraser.
func (e clickhouseEraser) wait(ctx context.Context) error { return e.settle(ctx) }

// settle waits until the server has done all mutations of this database.
func (e clickhouseEraser) settle(ctx context.Context) error {
	for {
		var left uint64
		err := e.s.conn.QueryRow(ctx, "SELECT count() FROM system.mutations WHERE database = currentDatabase() AND is_done = 0").Scan(&left)
		if err != nil || left == 0 {
			return err
		}
		select {
		case <-ctx.Done():
			return mutationsLeft(left, ctx.Err())
		case <-time.After(50 * time.Millisecond):
		}
	}
}
