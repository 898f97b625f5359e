// Package history keeps what canter found out: typed access to its tables in
// SQLite (embedded) and ClickHouse (a server), for the stages that write them
// and the people who query them with SQL.
//
// What comes in: files with their tests and traces from the scorer,
// assessments, alerts and messages from the alerts stage, corrections from
// staff, athletes from the club file. What goes out: the same, as they stand
// now, and the rows of a read-only query.
//
// What it promises, for both engines alike (contract_test.go holds them to it):
//
//   - A write that returned nil is on disk as far as the engine's settings go
//     (SQLite: synchronous=FULL), and every read after it sees it, in any
//     process.
//   - Writes may be repeated and may arrive in any order: the highest
//     [schemas.Version] wins, an equal version may be written again.
//   - A file, its tests and their traces, its loads and daily values change
//     together: no reader of the Go interface sees half of a
//     [Store.SaveResult].
//   - The names files, tests, trace_seconds, assessments, alerts, messages,
//     corrections, athletes and slots, and for context loads, athlete_days,
//     tests_with_load and daily_series, are tables or views with one row per
//     thing as it stands now, with the same columns in both engines. What
//     begins with stored_ is the engine's own affair.
//   - Times are UTC, kept to the millisecond. A time column x holds text
//     (SQLite, ISO 8601) or a DateTime in whole seconds (ClickHouse); x_ms
//     holds milliseconds since 1970 and is what is read back.
//   - Absent numbers are NULL.
//
// Start reading at store.go (the interface), then the SQL files below sqlite/
// and clickhouse/, where each column is documented, then rows.go (how types
// become rows) and sqlite.go or clickhouse.go.
//
// # How ClickHouse stays free of duplicates
//
// It has neither transactions nor unique keys, and its merges remove
// duplicates at a time of its own. Things of one row (a file, an alert, a
// message, an assessment with its comparisons as arrays) are rows of a
// ReplacingMergeTree and read with FINAL on a narrow key. Tests, traces, loads
// and daily values belong to a file: they are written first, under the file's version and a
// digest of the whole write; the row of the file, written last, says which
// version and digest count. A process that dies in between leaves rows that
// nobody counts.
package history
