package main

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/rogpeppe/go-internal/testscript"
)

// withoutJSON are the commands that have no answer: serve runs until it is
// stopped, and its log has --log-format json.
var withoutJSON = []string{"serve"}

// TestEveryCommandAnswersInJSON: a new command can't be without.
func TestEveryCommandAnswersInJSON(t *testing.T) {
	parser, err := kong.New(&cli{}, kong.Vars{"log_level": "info"})
	if err != nil {
		t.Fatal(err)
	}
	leaves := 0
	for _, leaf := range parser.Model.Leaves(false) {
		leaves++
		name := strings.TrimPrefix(leaf.FullPath(), parser.Model.Name+" ")
		has := slices.ContainsFunc(leaf.Flags, func(f *kong.Flag) bool {
			return f.Name == "format" && slices.Contains(strings.Split(f.Enum, ","), "json")
		})
		if has == slices.Contains(withoutJSON, name) {
			t.Errorf("canter %s: --format json: %v", name, has)
		}
		if has && !strings.Contains(leaf.Detail, "JSON") && !strings.Contains(leaf.Parent.Detail, "JSON") && name != "sql" {
			t.Errorf("canter %s: its help does not say what its JSON holds", name)
		}
	}
	if leaves < 25 {
		t.Errorf("%d commands: this test looks at the wrong thing", leaves)
	}
}

// scriptJSON is a command of the scripts: jsonlines FILE KEY... holds when each
// line of the file (stdout is the last command's) is one JSON object with at
// least these keys, and there is at least one line.
func scriptJSON(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 {
		ts.Fatalf("usage: jsonlines FILE KEY...")
	}
	for line := range strings.SplitSeq(strings.TrimSuffix(ts.ReadFile(args[0]), "\n"), "\n") {
		var object map[string]json.RawMessage
		d := json.NewDecoder(bytes.NewReader([]byte(line)))
		if err := d.Decode(&object); err != nil || d.More() {
			ts.Fatalf("not one JSON object: %q: %v", line, err)
		}
		for _, key := range args[1:] {
			if _, ok := object[key]; !ok {
				ts.Fatalf("no %q in %s", key, line)
			}
		}
	}
}
