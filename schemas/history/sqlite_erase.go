package history

import (
	"context"
	"fmt"
	"strings"
	"time"
)

// Erase implements [Store].
func (s *sqliteStore) Erase(ctx context.Context, who Erasure) (*Erased, error) {
	// What is deleted is overwritten, on the one connection that writes.
	if _, err := s.writer.ExecContext(ctx, "PRAGMA secure_delete = ON"); err != nil {
		return nil, fmt.Errorf("history: erase: %w", err)
	}
	return erase(ctx, sqliteEraser{s}, who)
}

// Retain implements [Store].
func (s *sqliteStore) Retain(ctx context.Context, before time.Time) (*Retained, error) {
	if _, err := s.writer.ExecContext(ctx, "PRAGMA secure_delete = ON"); err != nil {
		return nil, fmt.Errorf("history: retention: %w", err)
	}
	return retain(ctx, sqliteRetainer{sqliteEraser{s}}, before, func(r *Retained) error {
		return s.MarkSlot(ctx, RetainJob, r.String(), time.Now())
	})
}

// sqliteRetainer is an eraser that leaves the file's size as it is: what goes
// by age makes room for what comes, and writing the whole file anew would hold
// up the stages each time. What is deleted is overwritten all the same.
type sqliteRetainer struct{ sqliteEraser }

func (e sqliteRetainer) settle(ctx context.Context) error {
	_, err := e.s.writer.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
	return err
}

// sqliteEraser implements eraser. Names of tables and columns come from the
// database's own lists.
type sqliteEraser struct{ s *sqliteStore }

func (e sqliteEraser) textColumns(ctx context.Context) (map[string][]string, error) {
	rows, err := e.s.writer.QueryContext(ctx, `SELECT t.name, c.name FROM sqlite_schema AS t JOIN pragma_table_info(t.name) AS c
		WHERE t.type = 'table' AND t.name NOT LIKE 'sqlite_%' AND t.name <> ? AND c.type = 'TEXT'`, versionTable)
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

func (e sqliteEraser) texts(ctx context.Context, table string, columns []string, where string, args []any, row func([]string)) error {
	list := make([]string, len(columns))
	for i, c := range columns {
		list[i] = "coalesce(" + c + ", '')"
	}
	//nolint:gosec // names come from the database's own lists, values are arguments
	rows, err := e.s.writer.QueryContext(ctx, "SELECT "+strings.Join(list, ", ")+" FROM "+table+" WHERE "+where, args...)
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

func (e sqliteEraser) remove(ctx context.Context, table, where string, args []any) (int, error) {
	//nolint:gosec // as above
	r, err := e.s.writer.ExecContext(ctx, "DELETE FROM "+table+" WHERE "+where, args...)
	if err != nil {
		return 0, err
	}
	n, err := r.RowsAffected()
	return int(n), err
}

func (e sqliteEraser) blank(ctx context.Context, table, column, text, where string, args []any) error {
	//nolint:gosec // as above
	_, err := e.s.writer.ExecContext(ctx, "UPDATE "+table+" SET "+column+" = ? WHERE "+where, append([]any{text}, args...)...)
	return err
}

// wait implements eraser: statements are done when they return.
func (sqliteEraser) wait(context.Context) error { return nil }

// settle writes the file anew and empties the write-ahead log.
func (e sqliteEraser) settle(ctx context.Context) error {
	for _, text := range []string{"PRAGMA wal_checkpoint(TRUNCATE)", "VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if _, err := e.s.writer.ExecContext(ctx, text); err != nil {
			return fmt.Errorf("%s: %w", text, err)
		}
	}
	return nil
}

// Tidy implements [Store]. A row is replaced in its place: there is nothing to do.
func (s *sqliteStore) Tidy(context.Context) error { return nil }
