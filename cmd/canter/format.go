package main

import (
	"encoding/json"
	"io"
)

// aboutJSON is said once, in the program's own help; the commands' helps say
// what the objects hold.
const aboutJSON = `With --format json a command prints one JSON object a line on standard output and
nothing else there: times are RFC 3339, numbers that are not known null. A command that
changes something prints the changed things as its list command does. Errors stay
sentences on standard error, with exit code 1 (2 for wrong usage).`

// listing is the option of commands that answer with a table.
type listing struct {
	Format string `help:"Form of the answer: ${enum}; json is one object a line." enum:"table,json" default:"table"`
}

func (f listing) json() bool { return f.Format == "json" }

// telling is the option of commands that answer in sentences.
type telling struct {
	Format string `help:"Form of the answer: ${enum}; json is one object a line." enum:"text,json" default:"text"`
}

func (f telling) json() bool { return f.Format == "json" }

// aside returns the streams of a command whose standard output is for JSON
// alone: what else there is to say, such as a terminal's chat, goes to standard
// error.
func aside(std streams, asJSON bool) streams {
	if asJSON {
		std.out = std.err
	}
	return std
}

// jsonLines writes one object a line.
func jsonLines[T any](w io.Writer, list ...T) error {
	e := json.NewEncoder(w)
	for i := range list {
		if err := e.Encode(list[i]); err != nil {
			return err
		}
	}
	return nil
}
