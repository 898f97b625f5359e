package history

import "errors"

// Errors of this package.
var (
	// ErrAddress is returned by [Open] and [OpenReader] for an address that is
	// neither a SQLite file nor a ClickHouse URL.
	ErrAddress = errors.New("not a history address")
	// ErrReadOnly is returned by Query for a statement that is not a plain
	// read, and for more than one statement.
	ErrReadOnly = errors.New("only one reading statement is allowed")
	// ErrInvalid is returned for a value that can't be stored, such as a test
	// without an id or a coverage that is not a number.
	ErrInvalid = errors.New("can't be stored")
	// ErrKnown is returned for a [FileResult] that is New, when something is stored
	// of its file. Nothing of the result was stored then.
	ErrKnown = errors.New("something is stored of this file")
	// ErrNewer is returned by [Open] and [CheckBackup] for a history whose
	// tables a newer canter has made: this one would not know what they mean.
	ErrNewer = errors.New("the history was made by a newer canter: use that one")
	// ErrNotEmbedded is returned by [Backup], [CheckBackup] and [Restore] for an
	// address that is not a SQLite file: a database server has means of its own.
	ErrNotEmbedded = errors.New("not an embedded history")
)
