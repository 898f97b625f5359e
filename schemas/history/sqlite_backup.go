package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// BackupFacts is what a copy of the history holds.
type BackupFacts struct {
	// Files, Tests, Corrections and Notes count rows.
	Files, Tests, Corrections, Notes int
	// Newest is the start of the newest test; zero when there is none.
	Newest time.Time
	// Migration is the number of the newest migration that the tables have.
	Migration int64
	// Bytes is the size of the copy.
	Bytes int64
}

// Backup writes a consistent copy of the embedded history at address to the
// file out, which must not exist. Other processes may go on reading and
// writing meanwhile: the copy is the history as of one moment. The copy is for
// this user's eyes only, is on disk when Backup returns, and has been read
// whole and found sound. Errors: [ErrNotEmbedded].
func Backup(ctx context.Context, address, out string) (BackupFacts, error) {
	path, err := embeddedPath(address)
	if err != nil {
		return BackupFacts{}, err
	}
	f, err := os.OpenFile(out, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600) //nolint:gosec // the user names it
	if err != nil {
		return BackupFacts{}, fmt.Errorf("history: backup: %w", err)
	}
	if err := f.Close(); err != nil {
		return BackupFacts{}, fmt.Errorf("history: backup: %w", err)
	}
	facts, err := backup(ctx, path, out)
	if err != nil {
		return BackupFacts{}, errors.Join(err, os.Remove(out))
	}
	return facts, nil
}

func backup(ctx context.Context, path, out string) (BackupFacts, error) {
	db, err := sql.Open("sqlite", sqliteURI(path, "mode=rw", pragma("busy_timeout", int(sqliteBusy.Milliseconds()))))
	if err != nil {
		return BackupFacts{}, fmt.Errorf("history: backup: %w", err)
	}
	defer func() { _ = db.Close() }()
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", out); err != nil {
		return BackupFacts{}, fmt.Errorf("history: backup of %s: %w", path, err)
	}
	if err := flush(out); err != nil {
		return BackupFacts{}, fmt.Errorf("history: backup: %w", err)
	}
	return CheckBackup(ctx, out)
}

// CheckBackup reads the whole of a copy and says what it holds. Errors:
// [ErrNotEmbedded], [ErrNewer], or that it is damaged or no history of canter.
func CheckBackup(ctx context.Context, address string) (BackupFacts, error) {
	path, err := embeddedPath(address)
	if err != nil {
		return BackupFacts{}, err
	}
	var facts BackupFacts
	info, err := os.Stat(path)
	if err != nil {
		return facts, fmt.Errorf("history: %w", err)
	}
	facts.Bytes = info.Size()
	// Immutable: a copy on a read-only disk can be checked, too.
	db, err := sql.Open("sqlite", sqliteURI(path, "mode=ro", "immutable=1"))
	if err != nil {
		return facts, fmt.Errorf("history: %s: %w", path, err)
	}
	defer func() { _ = db.Close() }()
	var sound string
	if err := db.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&sound); err != nil || sound != "ok" {
		return facts, fmt.Errorf("history: %s is damaged or is no SQLite file (%s): take another copy", path, strings.TrimSpace(fmt.Sprint(sound, " ", err)))
	}
	if err := db.QueryRowContext(ctx, "SELECT max(version_id) FROM "+versionTable).Scan(&facts.Migration); err != nil {
		return facts, fmt.Errorf("history: %s is not a history of canter: %w", path, err)
	}
	if newest, err := newestMigration("sqlite"); err != nil || facts.Migration > newest {
		return facts, errors.Join(fmt.Errorf("%s: %w", path, ErrNewer), err)
	}
	var at sql.NullString
	err = db.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM files), (SELECT count(*) FROM stored_tests WHERE removed_version IS NULL),
		(SELECT count(*) FROM corrections), (SELECT count(*) FROM notes), (SELECT max(start) FROM stored_tests WHERE removed_version IS NULL)`).
		Scan(&facts.Files, &facts.Tests, &facts.Corrections, &facts.Notes, &at)
	if err != nil {
		return facts, fmt.Errorf("history: %s: %w", path, err)
	}
	if at.Valid {
		if facts.Newest, err = time.Parse(isoMillis, at.String); err != nil {
			return facts, fmt.Errorf("history: %s: start of the newest test: %w", path, err)
		}
	}
	return facts, nil
}

// Restore puts the copy in the place of the embedded history at address, which
// nobody may have open. What is there is kept beside it, under a name that ends
// in aside, and returned as kept; "" when nothing was there. A copy that
// [CheckBackup] refuses changes nothing. Errors: [ErrNotEmbedded].
func Restore(ctx context.Context, copied, address, aside string) (facts BackupFacts, kept string, err error) {
	path, err := embeddedPath(address)
	if err != nil {
		return facts, "", err
	}
	if facts, err = CheckBackup(ctx, copied); err != nil {
		return facts, "", err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return facts, "", fmt.Errorf("history: restore: %w", err)
	}
	arriving := path + ".arriving"
	if err := copyPrivate(copied, arriving); err != nil {
		return facts, "", fmt.Errorf("history: restore: %w", err)
	}
	if _, err := os.Stat(path); err == nil {
		kept = path + aside
		// The write-ahead log belongs to the file: left behind, it would be
		// taken for the copy's.
		for _, suffix := range []string{"-wal", "-shm", ""} {
			if err := os.Rename(path+suffix, kept+suffix); err != nil && !errors.Is(err, os.ErrNotExist) {
				return facts, "", fmt.Errorf("history: restore: put the old history aside: %w", err)
			}
		}
	}
	if err := os.Rename(arriving, path); err != nil {
		return facts, kept, fmt.Errorf("history: restore: %w", err)
	}
	return facts, kept, flush(filepath.Dir(path))
}

func embeddedPath(address string) (string, error) {
	engine, path, err := parseAddress(address)
	if err != nil {
		return "", err
	}
	if engine != "sqlite" {
		return "", fmt.Errorf("history: %w: it is on a server: back it up there", ErrNotEmbedded)
	}
	return path, nil
}

// copyPrivate copies a file for this user's eyes only and waits until it is on
// disk.
func copyPrivate(from, to string) (err error) {
	in, err := os.Open(from) //nolint:gosec // the user names it
	if err != nil {
		return err
	}
	defer func() { _ = in.Close() }()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600) //nolint:gosec // beside the history
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Sync(), out.Close())
}

// flush waits until a file, or the names in a folder, are on disk.
func flush(name string) error {
	f, err := os.Open(name) //nolint:gosec // this package's own
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
