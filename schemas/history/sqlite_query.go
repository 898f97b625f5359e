package history

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// sqliteReader answers other people's queries on connections that can't write:
// opened read-only, with query_only set, and with an authorizer that refuses
// to compile whatever is not a read of this database.
type sqliteReader struct {
	db   *sql.DB
	path string
}

var _ Reader = (*sqliteReader)(nil)

func openSQLiteReader(ctx context.Context, path string) (*sqliteReader, error) {
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("history: %w", err)
	}
	c, err := sqlite.NewConnector(sqliteURI(path, "mode=ro",
		pragma("busy_timeout", int(sqliteBusy.Milliseconds())), pragma("query_only", 1), pragma("temp_store", "MEMORY")))
	if err != nil {
		return nil, fmt.Errorf("history: %s: %w", path, err)
	}
	db := sql.OpenDB(guarded{c})
	db.SetMaxOpenConns(2)
	db.SetConnMaxIdleTime(time.Minute)
	if err := db.PingContext(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("history: %s: %w", path, err), db.Close())
	}
	return &sqliteReader{db: db, path: path}, nil
}

// guarded gives each new connection its authorizer.
type guarded struct{ driver.Connector }

// Connect implements [driver.Connector].
func (g guarded) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := g.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	guard, ok := conn.(sqlite.AuthorizerRegisterer)
	if !ok {
		return nil, errors.Join(errors.New("history: this SQLite driver has no authorizer"), conn.Close())
	}
	if err := guard.RegisterAuthorizer(onlyReads); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return conn, nil
}

func onlyReads(action sqlite.AuthorizerActionCode, arg1, arg2, _, _ string) sqlite.AuthorizerReturnCode {
	switch action {
	case sqlite.AuthSelect, sqlite.AuthRead, sqlite.AuthRecursive:
		return sqlite.AuthorizerOK
	case sqlite.AuthFunction:
		if strings.EqualFold(arg2, "load_extension") {
			return sqlite.AuthorizerDeny
		}
		return sqlite.AuthorizerOK
	case sqlite.AuthPragma: // behind the table functions that list tables and columns
		switch arg1 {
		case "table_list", "table_info", "table_xinfo", "index_list", "index_info":
			return sqlite.AuthorizerOK
		}
	default:
	}
	return sqlite.AuthorizerDeny
}

// Close implements [Reader].
func (r *sqliteReader) Close() error { return r.db.Close() }

// Query implements [Reader].
func (r *sqliteReader) Query(ctx context.Context, query string, limit int) (*Rows, error) {
	return collect(ctx, r, query, limit)
}

// Each implements [Reader].
func (r *sqliteReader) Each(ctx context.Context, query string, begin func([]string) error, row func([]any) error) error {
	query, err := checkReading("sqlite", query)
	if err != nil {
		return fmt.Errorf("history: %w", err)
	}
	rows, err := r.db.QueryContext(ctx, query)
	if err != nil {
		return sqliteQueryError(err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return sqliteQueryError(err)
	}
	if err := begin(columns); err != nil {
		return err
	}
	for rows.Next() {
		values := make([]any, len(columns))
		dest := make([]any, len(values))
		for i := range values {
			dest[i] = &values[i]
		}
		if err := rows.Scan(dest...); err != nil {
			return sqliteQueryError(err)
		}
		for i, v := range values {
			values[i] = plain(v)
		}
		if err := row(values); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return sqliteQueryError(err)
	}
	return nil
}

// sqliteQueryError says in canter's words that a write was refused.
func sqliteQueryError(err error) error {
	if e, ok := errors.AsType[*sqlite.Error](err); ok {
		switch e.Code() & 0xff {
		case sqlite3.SQLITE_AUTH, sqlite3.SQLITE_READONLY:
			return fmt.Errorf("history: %w: %w", ErrReadOnly, err)
		}
	}
	return fmt.Errorf("history: query: %w", err)
}

// IsNoTable reports whether a query failed because a table or view isn't there: a
// history that no service has opened yet has none.
func IsNoTable(err error) bool {
	if e, ok := errors.AsType[*sqlite.Error](err); ok {
		return e.Code()&0xff == sqlite3.SQLITE_ERROR && strings.Contains(e.Error(), "no such table")
	}
	return hasCode(err, codeUnknownTable)
}
