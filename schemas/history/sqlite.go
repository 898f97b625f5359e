package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/pressly/goose/v3/database"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// isoMillis is how times look in SQLite. It sorts as text.
const isoMillis = "2006-01-02T15:04:05.000Z"

// How many connections read at once, and how long a writer waits for another
// process's write to end.
const (
	sqliteReaders = 4
	sqliteBusy    = 15 * time.Second
)

// sqliteCache is how many KiB of pages the writer keeps: what most writes touch
// of the indexes. sqliteLog is how many pages of 4 KiB the write-ahead log grows
// to before they are put in their places: a page that many writes touch is put
// there once for all of them.
const (
	sqliteCache = 4000
	sqliteLog   = 4000
)

func sqliteClock(t time.Time) any { return t.UTC().Format(isoMillis) }

// sqliteStore is the history in one SQLite file: one connection that writes,
// a few that read, and one for other people's queries that can do nothing
// else.
type sqliteStore struct {
	writer, readers *sql.DB
	queries         *sqliteReader
	group           group
	bulk            sqliteBulk

	writing sqliteWriting // the writer's; of whoever has its connection

	mu       sync.Mutex
	prepared map[string]*sql.Stmt // the readers' statements, by text
}

var _ Store = (*sqliteStore)(nil)

func openSQLite(ctx context.Context, path string) (_ *sqliteStore, err error) {
	if err := createPrivate(path); err != nil {
		return nil, fmt.Errorf("history: %w", err)
	}
	s := &sqliteStore{prepared: make(map[string]*sql.Stmt), group: group{hurry: make(chan struct{}, 1)}}
	defer func() { //nolint:contextcheck // closed for whoever has gone, too
		if err != nil {
			err = errors.Join(err, s.Close())
		}
	}()
	// A sync of what is needed to read the file back, its length with it, and not of the
	// time it was written at: as SQLite itself is built where there is such a call.
	_, _ = sqlite.Fdatasync(true) // elsewhere it fails, and all is synced
	// Also those of the migrations take the write lock at their start; see sqliteBegin.
	if s.writer, err = sql.Open("sqlite", sqliteURI(path, "_txlock=immediate",
		pragma("busy_timeout", int(sqliteBusy.Milliseconds())), pragma("journal_mode", "WAL"),
		pragma("synchronous", "FULL"), pragma("temp_store", "MEMORY"),
		pragma("cache_size", -sqliteCache), pragma("wal_autocheckpoint", sqliteLog))); err != nil {
		return nil, fmt.Errorf("history: %s: %w", path, err)
	}
	s.writer.SetMaxOpenConns(1)
	if err := s.migrateTogether(ctx); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if err := s.withWriter(ctx, func(*sqliteTx) error { return nil }); err != nil { // prepares what writes
		return nil, err
	}
	if s.readers, err = sql.Open("sqlite", sqliteURI(path,
		pragma("busy_timeout", int(sqliteBusy.Milliseconds())), pragma("query_only", 1), pragma("temp_store", "MEMORY"))); err != nil {
		return nil, fmt.Errorf("history: %s: %w", path, err)
	}
	s.readers.SetMaxOpenConns(sqliteReaders)
	s.readers.SetMaxIdleConns(sqliteReaders)
	if s.queries, err = openSQLiteReader(ctx, path); err != nil {
		return nil, err
	}
	return s, nil
}

// migrateTogether makes the tables without a sync of the disk after each of them:
// the next transaction that is synced has them with it, as it is behind them in the
// log. A power loss before that leaves some or none of them, and the next start
// makes the rest.
func (s *sqliteStore) migrateTogether(ctx context.Context) (err error) {
	if _, err := s.writer.ExecContext(ctx, "PRAGMA synchronous = NORMAL"); err != nil {
		return fmt.Errorf("history: %w", err)
	}
	defer func() {
		if _, back := s.writer.ExecContext(context.WithoutCancel(ctx), "PRAGMA synchronous = FULL"); back != nil {
			err = errors.Join(err, fmt.Errorf("history: %w", back))
		}
	}()
	return s.migrate(ctx)
}

// migrate makes the tables. Several processes may start on one new file: the
// statements can be repeated, so the one that came second tries again.
func (s *sqliteStore) migrate(ctx context.Context) error {
	var err error
	for attempt := range 5 {
		if attempt > 0 {
			select {
			case <-ctx.Done():
				return fmt.Errorf("history: make tables: %w", ctx.Err())
			case <-time.After(time.Duration(attempt) * 50 * time.Millisecond):
			}
		}
		var versions database.Store
		if versions, err = database.NewStore(database.DialectSQLite3, versionTable); err != nil {
			return fmt.Errorf("history: %w", err)
		}
		err = migrate(ctx, s.writer, "sqlite", versions, nil)
		if e, ok := errors.AsType[*sqlite.Error](err); !ok || (e.Code()&0xff != sqlite3.SQLITE_BUSY && e.Code()&0xff != sqlite3.SQLITE_ERROR) {
			return err
		}
	}
	return err
}

// createPrivate makes the file, and folders on the way to it, for this user's
// eyes only: SQLite itself would ask the umask.
func createPrivate(path string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	return f.Close()
}

func pragma(name string, value any) string { return fmt.Sprintf("_pragma=%s(%v)", name, value) }

func sqliteURI(path string, params ...string) string {
	escaped := strings.NewReplacer("%", "%25", "?", "%3f", "#", "%23").Replace(filepath.ToSlash(path))
	return "file:" + escaped + "?" + strings.Join(params, "&")
}

// Close implements [Store]. It folds the write-ahead log into the file.
func (s *sqliteStore) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	var errs []error
	for _, p := range s.prepared {
		errs = append(errs, p.Close())
	}
	clear(s.prepared)
	if s.writing.conn != nil {
		errs = append(errs, s.withWriter(context.Background(), func(t *sqliteTx) error { t.writing.close(); return nil }))
	}
	if s.queries != nil {
		errs = append(errs, s.queries.Close())
	}
	for _, db := range []*sql.DB{s.readers, s.writer} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(errs...)
}

// Ping implements [Store].
func (s *sqliteStore) Ping(ctx context.Context) error {
	var one int
	if err := s.readers.QueryRowContext(ctx, "SELECT count(*) FROM "+versionTable).Scan(&one); err != nil {
		return fmt.Errorf("history: %w", err)
	}
	return nil
}

// Query implements [Reader].
func (s *sqliteStore) Query(ctx context.Context, query string, limit int) (*Rows, error) {
	return s.queries.Query(ctx, query, limit)
}

// Each implements [Reader].
func (s *sqliteStore) Each(ctx context.Context, query string, begin func([]string) error, row func([]any) error) error {
	return s.queries.Each(ctx, query, begin, row)
}

// statement returns the prepared statement for one of the texts of this
// package that read, which are few.
func (s *sqliteStore) statement(ctx context.Context, text string) (*sql.Stmt, error) {
	s.mu.Lock()
	p := s.prepared[text]
	s.mu.Unlock()
	if p != nil {
		return p, nil
	}
	// Preparing waits for a free connection, so not under the lock.
	p, err := s.readers.PrepareContext(ctx, text)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if first := s.prepared[text]; first != nil {
		return first, p.Close() //nolint:sqlclosecheck // its twin stays
	}
	s.prepared[text] = p
	return p, nil
}

// briefly is the context of a read that finds a few rows by their key. Watching
// one for its end, which two goroutines do, takes as long as such a read.
func briefly(ctx context.Context) context.Context { return context.WithoutCancel(ctx) }

// sqliteRows reads all rows of a query through scan.
func sqliteRows[T any](ctx context.Context, s *sqliteStore, what string, scan func(scanner) (T, error), query string, args ...any) ([]T, error) {
	p, err := s.statement(ctx, query) //nolint:sqlclosecheck // kept for the next read; Close does
	if err != nil {
		return nil, fmt.Errorf("history: read %s: %w", what, err)
	}
	rows, err := p.QueryContext(ctx, args...)
	if err != nil {
		return nil, fmt.Errorf("history: read %s: %w", what, err)
	}
	defer rows.Close()
	var list []T
	for rows.Next() {
		v, err := scan(rows.Scan)
		if err != nil {
			return nil, fmt.Errorf("history: read %s: %w", what, err)
		}
		list = append(list, v)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("history: read %s: %w", what, err)
	}
	return list, nil
}

// first returns the first of a list, false when it is empty.
func first[T any](list []T, err error) (T, bool, error) {
	var zero T
	if err != nil || len(list) == 0 {
		return zero, false, err
	}
	return list[0], true, nil
}
