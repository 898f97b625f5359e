package history

import (
	"context"
	"fmt"
	"slices"
	"strings"
)

// Codecs. Later servers than that of 2018 keep each column with a codec of its own. Most of a
// test's bytes are names (SHA-256 in hexadecimal) and short texts: ZSTD at its
// lowest level takes 0.6 of the room that LZ4 takes, the servers' default. A change
// of codec costs nothing at once: parts written or merged later have it.
//
// No TTL, on any server: it would take rows by the database's own clock, table by
// table, without canter's audit line, and contradict retention as soon as the club
// changed its setting there ([Store.Retain] takes a file's rows together).

// takesCodecs asks the server whether columns have codecs.
const takesCodecs = "SELECT count() FROM system.columns WHERE database = 'system' AND table = 'columns' AND name = 'compression_codec'"

// withoutCodec are the columns that nobody, canter or an administrator, gave one.
const withoutCodec = "SELECT name FROM system.columns WHERE database = currentDatabase() AND table = '%s' AND compression_codec = ''"

// codecTables are those that grow with every test.
var codecTables = slices.Concat([]string{"stored_tests"}, sweptTables)

// alterCodecs gives columns of a table the codec.
func alterCodecs(table string, columns []string) string {
	changes := make([]string, len(columns))
	for i, name := range columns {
		changes[i] = "MODIFY COLUMN " + quoteName(name) + " CODEC(ZSTD(1))"
	}
	return "ALTER TABLE " + table + " " + strings.Join(changes, ", ")
}

// applyCodecs gives the columns of the large tables their codec where the server
// has codecs. On a cluster it leaves that to whoever keeps it: deploy/CLUSTER.md.
func (s *clickhouseStore) applyCodecs(ctx context.Context) error {
	if s.cluster != nil {
		return nil
	}
	var has uint64
	if err := s.conn.QueryRow(ctx, takesCodecs).Scan(&has); err != nil {
		return fmt.Errorf("history: codecs: %w", err)
	}
	if has == 0 {
		return nil
	}
	for _, table := range codecTables {
		columns, err := clickhouseRows(ctx, s, "columns of "+table, func(scan scanner) (name string, err error) { return name, scan(&name) },
			fmt.Sprintf(withoutCodec, table))
		if err != nil {
			return err
		}
		if len(columns) == 0 {
			continue
		}
		if err := s.conn.Exec(ctx, alterCodecs(table, columns)); err != nil {
			return fmt.Errorf("history: codecs of %s: %w", table, err)
		}
	}
	return nil
}
