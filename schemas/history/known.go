package history

import (
	"context"

	"canter.example/schemas"
)

// Known implements [Store].
func (s *sqliteStore) Known(ctx context.Context, id schemas.FileID) (bool, error) {
	_, known, err := first(sqliteRows(briefly(ctx), s, "file "+id.Short(), func(scan scanner) (n int64, err error) { return n, scan(&n) },
		`SELECT 1 WHERE EXISTS (SELECT 1 FROM files WHERE file_id = ?1)
			OR EXISTS (SELECT 1 FROM stored_tests WHERE file_id = ?1)
			OR EXISTS (SELECT 1 FROM corrections WHERE file_id = ?1)`, string(id)))
	return known, err
}

// Known implements [Store]. A test has a write of its file.
func (s *clickhouseStore) Known(ctx context.Context, id schemas.FileID) (bool, error) {
	_, known, err := first(clickhouseRows(ctx, s, "file "+id.Short(), func(scan scanner) (id string, err error) { return id, scan(&id) },
		`SELECT file_id FROM stored_file_writes WHERE file_id = ? LIMIT 1
			UNION ALL SELECT file_id FROM stored_corrections WHERE file_id = ? LIMIT 1`, string(id), string(id)))
	return known, err
}
