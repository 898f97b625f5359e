// Package schemas holds the words canter is built from: athlete, protocol,
// trace, outcome, assessment, alert, and the events that carry them between
// stages. It is the leaf of the import graph and uses the standard library
// only, so that every stage can depend on it and it depends on nothing.
//
// The way of the data, and where to start reading:
//
//	File (file.go)             a heart-rate file as it was found, named by its SHA-256
//	Trace (trace.go)           one athlete's samples out of a file
//	Outcome (outcome.go)       the numbers of one test found in a trace
//	Assessment (assessment.go) an outcome beside the athlete's own history
//	Alert (alert.go)           what staff are told
//	Correction (correction.go) what staff say back
//
// Units are in the field names or comments: bpm, seconds, metres a second.
// Times are UTC instants unless a name says local. Absent numbers are absent
// (see [Number]), never zero.
package schemas
