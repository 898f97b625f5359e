// Package simulate finds out how often the real assessment and rules are
// wrong. It plays squads of known noise through package review, the code that
// the service runs, and counts what staff would have been told.
//
// Start reading at [Each] (rows.go); table.go counts, play.go makes the squads,
// report.go writes the tables as Markdown.
package simulate
