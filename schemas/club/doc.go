// Package club reads the club file: the one place where staff say who their
// athletes are, where files appear, which tests are run, and what deserves a
// word.
//
// In goes a YAML file, and perhaps a CSV of athletes that it names; out comes a
// [Club], checked, complete with defaults and never changed again. What is
// wrong comes out as [Problems]: all of them at once, each with file, line,
// column, and what to do.
//
// The way through, and where to start reading:
//
//	club.go      the types that the other packages use
//	load.go      Load and Parse: the steps in order
//	document.go  YAML to plain values, each with its place
//	schema.go    the JSON Schema (club.schema.json), and its faults in words
//	written.go   the file as it is written
//	build*.go    written to meant: references, defaults, contradictions
//	csv.go       athletes from a spreadsheet
//	defaults.go  every default, with its source
//	slots.go     when planned tests happen, clocks changing or not
//	pattern.go   what a file's path says
//	names.go     athletes by what people call them
//
// Limits: a club file has at most 1 MiB, the athletes' CSV 4 MiB. Parse reads
// no other file than the CSV, looks at no folder, and takes no secret.
package club
