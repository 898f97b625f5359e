package history

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
)

// sqliteWriting are the statements of transactions that write, prepared by the
// driver on the one connection that writes. database/sql would look at each of a
// row's forty values three times and keep books of every execution, which takes as
// long as SQLite does.
type sqliteWriting struct {
	conn       any // the driver's connection that they belong to
	statements [writingStatements]driver.Stmt
}

// prepare prepares all of them, unless that is done.
func (p *sqliteWriting) prepare(ctx context.Context, conn any) error {
	if p.conn == conn {
		return nil
	}
	c, ok := conn.(driver.ConnPrepareContext)
	if !ok {
		return fmt.Errorf("history: the SQLite driver's connection is a %T, which prepares nothing", conn)
	}
	// Those of a connection that is gone are not touched: the driver's would look for
	// what went with it. database/sql closes a connection on which a statement was
	// interrupted, such as an erasure that is told to stop.
	*p = sqliteWriting{}
	for i, text := range sqliteWrites {
		s, err := c.PrepareContext(ctx, text)
		if err != nil {
			return fmt.Errorf("history: prepare %.60s: %w", text, err)
		}
		p.statements[i] = s
	}
	p.conn = conn
	return nil
}

func (p *sqliteWriting) close() {
	for i, s := range p.statements {
		if s != nil {
			_ = s.Close() // its connection goes next
			p.statements[i] = nil
		}
	}
	p.conn = nil
}

// sqliteTx is a write transaction. Its statements bear a context that never ends:
// each takes microseconds, and watching one for its end costs as much again.
type sqliteTx struct {
	ctx     context.Context
	writing *sqliteWriting
	values  []driver.NamedValue // of the last execution, for the next
}

// exec runs a statement and returns how many rows it changed.
func (t *sqliteTx) exec(w writing, args ...any) (int64, error) {
	t.values = t.values[:0]
	for i, v := range args {
		switch v.(type) {
		case string, int64, float64, []byte, nil:
		default:
			var err error
			if v, err = driver.DefaultParameterConverter.ConvertValue(v); err != nil {
				return 0, fmt.Errorf("value %d: %w", i+1, err)
			}
		}
		t.values = append(t.values, driver.NamedValue{Ordinal: i + 1, Value: v})
	}
	s, ok := t.writing.statements[w].(driver.StmtExecContext)
	if !ok {
		return 0, fmt.Errorf("the SQLite driver's statement is a %T, which is not run with named values", t.writing.statements[w])
	}
	r, err := s.ExecContext(t.ctx, t.values)
	if err != nil {
		return 0, err
	}
	return r.RowsAffected()
}

// inTransaction commits what fn did unless it returns an error. It belongs to
// several writes, so that no one's context ends it.
func (s *sqliteStore) inTransaction(fn func(*sqliteTx) error) (err error) {
	return s.withWriter(context.Background(), func(t *sqliteTx) (err error) {
		if _, err := t.exec(sqliteBegin); err != nil {
			return err
		}
		done := false
		defer func() {
			if !done { // also when fn panicked
				_, _ = t.exec(sqliteRollback) // SQLite may have done it itself
			}
		}()
		if err := fn(t); err != nil {
			return err
		}
		if _, err := t.exec(sqliteCommit); err != nil {
			return err
		}
		done = true
		return nil
	})
}

// withWriter runs fn on the connection that writes, with its statements.
func (s *sqliteStore) withWriter(ctx context.Context, fn func(*sqliteTx) error) (err error) {
	conn, err := s.writer.Conn(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, conn.Close()) }() // it goes back to its pool
	return conn.Raw(func(c any) error {
		if err := s.writing.prepare(ctx, c); err != nil {
			return err
		}
		return fn(&sqliteTx{ctx: context.WithoutCancel(ctx), writing: &s.writing})
	})
}

// inSavepoint runs one write; when it fails, what it did is undone and the
// others of its group stand.
func (t *sqliteTx) inSavepoint(w *groupedWrite) error {
	if _, err := t.exec(sqliteSavepoint); err != nil {
		return err
	}
	if err := w.run(t); err != nil {
		_, undo := t.exec(sqliteBackToSavepoint)
		_, release := t.exec(sqliteRelease)
		return errors.Join(err, undo, release)
	}
	_, err := t.exec(sqliteRelease)
	return err
}
