package history

import (
	"fmt"
	"strings"

	"canter.example/schemas"
)

// writing is a statement of transactions that write: its place in sqliteWrites.
type writing int

const (
	sqliteBegin writing = iota
	sqliteCommit
	sqliteRollback
	sqliteSavepoint
	sqliteBackToSavepoint
	sqliteRelease

	sqliteAddFile
	sqliteAddNewFile
	sqliteSaveFile
	sqliteRemoveTests
	sqliteSaveTest
	sqliteSaveTrace
	sqliteDropLoads
	sqliteSaveLoad
	sqliteDropSeries
	sqliteAddSeries
	sqliteAddManySeries
	sqliteSaveSeries
	sqliteSaveAssessment
	sqliteDropComparisons
	sqliteSaveComparison
	sqliteSaveAlert
	sqliteAddMessage
	sqliteSaveMessage
	sqliteAddCorrection
	sqliteAddNote
	sqliteDropAthletes
	sqliteAddAthlete
	sqliteMarkSlot

	writingStatements // how many there are
)

// sqliteWrites are their texts.
//
// A statement that changes several rows, or may have to take rows away, and that
// may then fail, makes SQLite keep a copy of every page it touches (its statement
// journal), to undo that statement alone. With OR FAIL there is nothing of that: a
// write that fails is undone as a whole here, by its transaction or savepoint.
var sqliteWrites = [writingStatements]string{
	// A transaction takes the write lock at its start: one that begins by reading
	// can't be sent back when another process wrote first.
	sqliteBegin:           "BEGIN IMMEDIATE",
	sqliteCommit:          "COMMIT",
	sqliteRollback:        "ROLLBACK",
	sqliteSavepoint:       "SAVEPOINT one",
	sqliteBackToSavepoint: "ROLLBACK TO one",
	sqliteRelease:         "RELEASE one",

	sqliteAddFile: insert("files", fileColumns.write) + " ON CONFLICT (file_id) DO NOTHING",
	// Only when nothing is known of it, ?1 being its id; see Store.Known.
	sqliteAddNewFile: "INSERT OR FAIL INTO files (" + strings.Join(fileColumns.write, ", ") + ") SELECT " + marks(len(fileColumns.write)) +
		" WHERE NOT EXISTS (SELECT 1 FROM stored_tests WHERE file_id = ?1) AND NOT EXISTS (SELECT 1 FROM corrections WHERE file_id = ?1)" +
		" ON CONFLICT (file_id) DO NOTHING",
	sqliteSaveFile:    upsert("files", fileColumns, "file_id", " WHERE excluded.version >= files.version"),
	sqliteRemoveTests: "UPDATE stored_tests SET removed_version = ? WHERE file_id = ? AND removed_version IS NULL",
	sqliteSaveTest: upsert("stored_tests", columns{write: append(append([]string{}, testColumns.write...), "removed_version")},
		"test_id", " WHERE excluded.version >= stored_tests.version"),
	// The window comes as bytes.
	sqliteSaveTrace: "INSERT INTO stored_traces (test_id, seconds, version) VALUES (?, CAST(? AS TEXT), ?) ON CONFLICT (test_id) DO UPDATE" +
		" SET seconds = excluded.seconds, version = excluded.version WHERE excluded.version >= stored_traces.version",
	sqliteDropLoads:  "DELETE FROM stored_loads WHERE file_id = ?",
	sqliteSaveLoad:   upsert("stored_loads", loadColumns, "file_id,part", ""),
	sqliteDropSeries: "DELETE FROM stored_series WHERE file_id = ?",
	sqliteAddSeries:  insertSeries(1, "DO NOTHING"), sqliteAddManySeries: insertSeries(seriesAtOnce, "DO NOTHING"),
	sqliteSaveSeries: insertSeries(1, "DO UPDATE SET value = excluded.value, unit = excluded.unit, seen_ms = excluded.seen_ms, version = excluded.version"),
	sqliteSaveAssessment: upsert("stored_assessments", assessmentColumns, "test_id",
		" WHERE excluded.version >= stored_assessments.version"),
	sqliteDropComparisons: "DELETE FROM stored_comparisons WHERE test_id = ?",
	sqliteSaveComparison:  insert("stored_comparisons", append([]string{"test_id", "position"}, comparisonColumns.write...)),
	sqliteSaveAlert:       upsert("alerts", alertColumns, "alert_id", " WHERE excluded.version >= alerts.version"),
	sqliteAddMessage:      insert("messages", messageColumns.write) + " ON CONFLICT (message_id) DO NOTHING",
	sqliteSaveMessage: upsert("messages", messageColumns, "message_id",
		" WHERE ("+sqliteRank("excluded")+", excluded.attempts) >= ("+sqliteRank("messages")+", messages.attempts)"),
	sqliteAddCorrection: insert("corrections", correctionColumns.write) + " ON CONFLICT (correction_id) DO NOTHING",
	sqliteAddNote:       insert("notes", noteColumns.write) + " ON CONFLICT (note_id) DO NOTHING",
	sqliteDropAthletes:  "DELETE FROM athletes",
	sqliteAddAthlete:    insert("athletes", athleteColumns.write),
	sqliteMarkSlot:      upsert("slots", cols("job slot done done_ms"), "job,slot", " WHERE excluded.done_ms < slots.done_ms"),
}

// upsert returns an INSERT that replaces the row of the same key when the
// condition holds.
func upsert(table string, c columns, key, condition string) string {
	set := make([]string, 0, len(c.write))
	for _, name := range c.write {
		if !strings.Contains(","+key+",", ","+name+",") {
			set = append(set, name+" = excluded."+name)
		}
	}
	return insert(table, c.write) + " ON CONFLICT (" + key + ") DO UPDATE SET " + strings.Join(set, ", ") + condition
}

func insert(table string, names []string) string {
	return "INSERT INTO " + table + " (" + strings.Join(names, ", ") + ") VALUES (" + marks(len(names)) + ")"
}

// sqliteRank orders the states of a message, like messageRank.
func sqliteRank(table string) string {
	return fmt.Sprintf("CASE %s.state WHEN '%s' THEN 3 WHEN '%s' THEN 2 ELSE 1 END", table, schemas.MessageSent, schemas.MessageFailed)
}
