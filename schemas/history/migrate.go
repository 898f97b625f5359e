package history

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/database"
)

// The SQL of the tables: one folder an engine, one thing a file, every column
// explained beside its name.
//
//go:embed sqlite/*.sql clickhouse/*.sql
var migrations embed.FS

// versionTable remembers which migrations were applied.
const versionTable = "canter_migrations"

// migrate applies the migrations of a folder that the database lacks.
func migrate(ctx context.Context, db *sql.DB, folder string, store database.Store) error {
	files, err := fs.Sub(migrations, folder)
	if err != nil {
		return fmt.Errorf("history: %w", err)
	}
	p, err := goose.NewProvider(goose.DialectCustom, db, files, goose.WithStore(store),
		goose.WithDisableGlobalRegistry(true), goose.WithSlog(slog.New(slog.DiscardHandler)))
	if err != nil {
		return fmt.Errorf("history: %w", err)
	}
	if _, err := p.Up(ctx); err != nil {
		if partial, ok := errors.AsType[*goose.PartialError](err); ok {
			return fmt.Errorf("history: make tables: %s: %w", partial.Failed.Source.Path, partial.Err)
		}
		return fmt.Errorf("history: make tables: %w", err)
	}
	return nil
}
