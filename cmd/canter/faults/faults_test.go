//go:build linux

package faults_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestFaults breaks things, one after the other, and prints the fault table.
func TestFaults(t *testing.T) {
	for _, group := range []func(*testing.T){testKills, testOutages, testCluster, testFolders, testDisk, testClock, testPower, testScale} {
		group(t)
	}
	text := printed(table)
	fmt.Println(text)
	if *update {
		if t.Failed() {
			t.Fatal("FAULTS.md is not written: a fault failed")
		}
		write(t, table)
	}
}

const head = "| fault | what was done | what is promised | what was seen | run |\n|---|---|---|---|---|\n"

// line is a row in Markdown.
func (r *row) line() string {
	return fmt.Sprintf("| %s | %s | %s | %s | %s |\n", r.fault, r.done, r.promised, r.seen, r.when)
}

// printed is the table in Markdown.
func printed(rows []row) string {
	var b strings.Builder
	b.WriteString(head)
	for i := range rows {
		b.WriteString(rows[i].line())
	}
	return b.String()
}

// merged is a table with the rows of this run in the places of those it had of
// the same faults; the others stay as they were seen.
func merged(old string, rows []row) string {
	var b strings.Builder
	b.WriteString(head)
	done := map[string]bool{}
	for l := range strings.Lines(old) {
		fault, _, _ := strings.Cut(strings.TrimPrefix(l, "| "), " |")
		if fault == "fault" || strings.HasPrefix(l, "|---") {
			continue
		}
		for i := range rows {
			if rows[i].fault == fault {
				l, done[fault] = rows[i].line(), true
			}
		}
		b.WriteString(l)
	}
	for i := range rows {
		if !done[rows[i].fault] {
			b.WriteString(rows[i].line())
		}
	}
	return b.String()
}

// write puts the rows into the table between the marks of FAULTS.md.
func write(t *testing.T, rows []row) {
	t.Helper()
	name := filepath.Join("..", "..", "..", "deploy", "FAULTS.md")
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	const from, to = "<!-- table -->\n", "<!-- end of table -->"
	i, j := bytes.Index(b, []byte(from)), bytes.Index(b, []byte(to))
	if i < 0 || j < i {
		t.Fatalf("%s has no marks for the table", name)
	}
	out := string(b[:i+len(from)]) + merged(string(b[i+len(from):j]), rows) + string(b[j:])
	if err := os.WriteFile(name, []byte(out), 0o644); err != nil {
		t.Fatal(err)
	}
}
