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
// duplicates at a time of their own. So the tables below what people ask most
// only gain rows, each under the number of its write (write_id), and the small
// table stored_hidden names the writes that don't count. A view is a plain
// SELECT that leaves those out: nothing is asked for FINAL, and a condition on
// the view narrows what is read of the table.
//
// Tests, traces, loads and daily values belong to a file. A write takes a number
// that is hidden already (they are put by many at a time), inserts its rows under
// it, and last the row of the file: from then on the methods of [Store] count it,
// which read by the newest row of the file (the highest version, then again, then
// write_id). It looks at all rows of the file there are by then and, in one
// insert into stored_hidden, shows its own and hides for good what they replace,
// so the views change over at once. Of two that write one file at a time at least
// the later sees both; whoever sees a newer row leaves its own hidden. A writer
// that dies leaves rows that are hidden; when it died after the row of the file
// the views follow once the event comes again, which it does.
//
// An assessment is one row. It is inserted to be seen at once, and then what it
// replaces is hidden: for the moment between, a view shows both.
//
// A server has one order a table. The rows that are asked for by session are
// copied, by materialized views of the server in the same insert, into tables
// ordered by squad and session. Rows of two tables come together in the views by
// UNION ALL and GROUP BY on the key: old servers don't move conditions through a
// JOIN, and no server moves them through a window or LIMIT BY. What is replaced
// is taken from the disk by mutations, at night and after every twenty thousand rows
// (clickhouse_sweep.go; not on a cluster): what is hidden is read several times with
// each statement, and each row of a whole table is looked up among it.
//
// Alerts, messages, corrections, notes, athletes and slots are few: they are rows
// of a ReplacingMergeTree and read with FINAL.
package history
