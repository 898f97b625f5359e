package schemas

import (
	"crypto/sha256"
	"encoding/hex"
	"time"
)

// FileState is what became of a file.
type FileState string

// States of a file.
const (
	// FileScored: at least one test was found and scored.
	FileScored FileState = "scored"
	// FileTraining: read without trouble, no test inside. Welcome, not an error.
	FileTraining FileState = "training"
	// FileSeries: daily series (RPE, sleep, wellness, ...), no heart rate.
	FileSeries FileState = "series"
	// FileParked: could not be handled; the reason says why. Can be replayed.
	FileParked FileState = "parked"
	// FileDropped: parked, until staff let go of it; the reason is still the one
	// it was parked for. It stays as it is until staff take the drop back.
	FileDropped FileState = "dropped"
)

// FileID names a file by the SHA-256 of its bytes, in hexadecimal.
type FileID string

// NewFileID returns the id of the file with these bytes.
func NewFileID(content []byte) FileID {
	sum := sha256.Sum256(content)
	return FileID(hex.EncodeToString(sum[:]))
}

// Short returns the first 12 digits, for people.
func (id FileID) Short() string {
	if len(id) > 12 {
		return string(id[:12])
	}
	return string(id)
}

// Origin is where a file was found.
type Origin struct {
	// Folder is the watched folder as the club file names it.
	Folder string `json:"folder"`
	// Path is the file's path below Folder, with forward slashes.
	Path string `json:"path"`
	// Squad owns the folder; "" when the path pattern names the squad.
	Squad string `json:"squad,omitempty"`
	// Modified is the file's modification time, Seen when canter noticed it finished.
	Modified time.Time `json:"modified"`
	Seen     time.Time `json:"seen"`
}

// File is the record of one file in history.
type File struct {
	ID     FileID `json:"id"`
	Origin Origin `json:"origin"`
	Size   int64  `json:"size"`
	// Format is "fit", "tcx", "gpx", "csv", "zip"; "" when it was not recognised.
	Format string    `json:"format"`
	State  FileState `json:"state"`
	// Reason says in words why a file is parked, and what to do; for others it
	// may hold a remark.
	Reason string `json:"reason,omitempty"`
	// Tests and Traces count what was found inside.
	Tests  int `json:"tests"`
	Traces int `json:"traces"`
	// Version orders writes of the same file: see [Version].
	Version Version `json:"version"`
}

// Version orders the writes of one row: the higher wins, equal ones are the
// same write done twice. It is made from the broker's order of events, never
// from a clock, so that a late retry can't overwrite a later truth.
type Version uint64

// NewVersion combines the birth of a stream with a message's place in it. A
// stream that had to be made anew is younger, so its first message still
// outranks the last of the old one.
func NewVersion(streamCreated time.Time, sequence uint64) Version {
	return Version(uint64(streamCreated.Unix())<<31 | sequence&(1<<31-1))
}
