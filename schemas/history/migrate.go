package history

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"strings"
	"time"

	"github.com/ClickHouse/clickhouse-go/v2"
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

// migrate applies the migrations of a folder that the database lacks, also
// those numbered below one that is there: none depends on a later one, and
// branches that add tables must merge in either order. On a cluster, nil for one
// server, they take its form.
func migrate(ctx context.Context, db *sql.DB, folder string, store database.Store, c *cluster) error {
	options := []goose.ProviderOption{goose.WithStore(store), goose.WithDisableGlobalRegistry(true),
		goose.WithAllowOutofOrder(true), goose.WithSlog(slog.New(slog.DiscardHandler))}
	var files fs.FS
	var err error
	if c == nil {
		files, err = fs.Sub(migrations, folder)
	} else {
		var list []*goose.Migration
		list, err = c.migrations()
		options = append(options, goose.WithGoMigrations(list...))
	}
	if err != nil {
		return fmt.Errorf("history: %w", err)
	}
	p, err := goose.NewProvider(goose.DialectCustom, db, files, options...)
	if err != nil {
		return fmt.Errorf("history: %w", err)
	}
	newest, err := newestMigration(folder)
	if err != nil {
		return err
	}
	if there, err := p.GetDBVersion(ctx); err != nil {
		return fmt.Errorf("history: which tables are there: %w", err)
	} else if there > newest {
		return fmt.Errorf("history: %w", ErrNewer)
	}
	for attempt := 0; ; attempt++ {
		_, err := p.Up(ctx)
		if partial, ok := errors.AsType[*goose.PartialError](err); ok && columnIsThere(partial.Err) {
			// Another process, perhaps one that died then, added the columns and
			// could not say so: old servers have no ADD COLUMN IF NOT EXISTS. All
			// columns of a migration are added at once, so it is done.
			if err := store.Insert(ctx, db, database.InsertRequest{Version: partial.Failed.Source.Version}); err != nil {
				return fmt.Errorf("history: make tables: %w", err)
			}
			continue
		}
		if err == nil {
			return nil
		}
		if (tableIsAway(err) && attempt < 100 || isMerging(err) && attempt < 6000) && ctx.Err() == nil {
			// Another process is making a view anew that this one builds upon; or
			// the server is merging parts by itself, and can't merge them all.
			time.Sleep(50 * time.Millisecond)
			continue
		}
		if partial, ok := errors.AsType[*goose.PartialError](err); ok {
			return fmt.Errorf("history: make tables: %s: %w", partial.Failed.Source.Path, partial.Err)
		}
		return fmt.Errorf("history: make tables: %w", err)
	}
}

// newestMigration is the highest number among the migrations of a folder.
func newestMigration(folder string) (int64, error) {
	entries, err := migrations.ReadDir(folder)
	if err != nil {
		return 0, fmt.Errorf("history: %w", err)
	}
	var newest int64
	for _, e := range entries {
		n, err := goose.NumericComponent(e.Name())
		if err != nil {
			return 0, fmt.Errorf("history: migration %s: %w", e.Name(), err)
		}
		newest = max(newest, n)
	}
	return newest, nil
}

// columnIsThere reports whether the ClickHouse server refused to add a column
// a second time.
func columnIsThere(err error) bool {
	const duplicate = 44 // ILLEGAL_COLUMN of old servers, in words below
	e, ok := errors.AsType[*clickhouse.Exception](err)
	return ok && (e.Code == duplicate || e.Code == 15) && strings.Contains(e.Message, "already exists")
}

// tableIsAway reports whether a ClickHouse server missed a table.
func tableIsAway(err error) bool {
	const tableIsDropped = 218
	partial, ok := errors.AsType[*goose.PartialError](err)
	return ok && (hasCode(partial.Err, codeUnknownTable) || hasCode(partial.Err, tableIsDropped))
}

// isMerging reports whether a ClickHouse server could not merge a whole table now:
// most often as it is merging some of its parts already. It says so because
// mustMerge asks it to; otherwise it would do nothing in silence, and rows that were
// sent twice would be counted twice until the next merge.
func isMerging(err error) bool {
	const cannotAssignOptimize = 388
	partial, ok := errors.AsType[*goose.PartialError](err)
	return ok && hasCode(partial.Err, cannotAssignOptimize)
}

// mustMerge is the server's setting for isMerging.
const mustMerge = "optimize_throw_if_noop"

// clickhouseVersions are the statements by which goose keeps its records on a
// server that has no transactions and, before 2020, hangs on INSERT … VALUES:
// rows are only added, and the last one of a version counts.
type clickhouseVersions struct{}

// CreateTable implements goose's Querier, as do the others.
func (clickhouseVersions) CreateTable(table string) string {
	return "CREATE TABLE IF NOT EXISTS " + table +
		" (version_id Int64, is_applied UInt8, stamp DateTime) ENGINE = MergeTree ORDER BY version_id"
}

// InsertVersion adds a row that says applied.
func (clickhouseVersions) InsertVersion(table string) string {
	return "INSERT INTO " + table + " (version_id, is_applied, stamp) SELECT toInt64(?), toUInt8(?), now()"
}

// DeleteVersion adds a row that says not applied.
func (clickhouseVersions) DeleteVersion(table string) string {
	return "INSERT INTO " + table + " (version_id, is_applied, stamp) SELECT toInt64(?), toUInt8(0), now()"
}

// GetMigrationByVersion returns when a version was applied.
func (clickhouseVersions) GetMigrationByVersion(table string) string {
	return "SELECT max(stamp), argMax(is_applied, stamp) FROM " + table + " WHERE version_id = ? GROUP BY version_id"
}

// ListMigrations returns the versions that are applied, the highest first: goose
// takes every version listed for one.
func (clickhouseVersions) ListMigrations(table string) string {
	return "SELECT version_id, argMax(is_applied, stamp) FROM " + table + " GROUP BY version_id" +
		" HAVING argMax(is_applied, stamp) = 1 ORDER BY version_id DESC"
}

// GetLatestVersion returns the highest version.
func (clickhouseVersions) GetLatestVersion(table string) string {
	return "SELECT max(version_id) FROM " + table
}
