package history

import (
	"context"
	"slices"
)

// Sweep sweeps at once, for tests.
func Sweep(ctx context.Context, s Store) error { return s.(*clickhouseStore).sweep(ctx, 0) }

// Synchronous is how the connection that writes to a SQLite file syncs the disk.
func Synchronous(ctx context.Context, s Store) (how int, err error) {
	return how, s.(*sqliteStore).writer.QueryRowContext(ctx, "PRAGMA synchronous").Scan(&how)
}

// ReplacedNow is a statement for the numbers of the writes that are replaced.
const ReplacedNow = replacedNow

// WrittenColumns are the columns that are written, by table, of an engine: the
// names of both come from one list each.
func WrittenColumns(clickhouse bool) map[string][]string {
	if clickhouse {
		return map[string][]string{
			"stored_file_writes": storedFileColumns, "stored_tests": storedTestColumns, "stored_traces": storedTraceColumns,
			"stored_loads": storedLoadColumns, "stored_series": storedSeriesColumns, "stored_athlete_assessments": storedAssessmentColumns,
		}
	}
	return map[string][]string{
		"files": fileColumns.write, "stored_tests": append(slices.Clone(testColumns.write), "removed_version"),
		"stored_loads": loadColumns.write, "stored_series": seriesColumns.write, "stored_assessments": assessmentColumns.write,
		"stored_comparisons": append([]string{"test_id", "position"}, comparisonColumns.write...),
	}
}

// What asks a server for codecs and gives them, for engines without a port.
const (
	TakesCodecs  = takesCodecs
	WithoutCodec = withoutCodec
)

// CodecTables are the tables whose columns get one, by AlterCodecs.
func CodecTables() []string { return codecTables }

// AlterCodecs gives columns of a table the codec.
func AlterCodecs(table string, columns []string) string { return alterCodecs(table, columns) }
