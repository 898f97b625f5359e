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
		write(t, text)
	}
}

// printed is the table in Markdown.
func printed(rows []row) string {
	var b strings.Builder
	b.WriteString("| fault | what was done | what is promised | what was seen |\n|---|---|---|---|\n")
	for _, r := range rows {
		fmt.Fprintf(&b, "| %s | %s | %s | %s |\n", r.fault, r.done, r.promised, r.seen)
	}
	return b.String()
}

// write puts the table between the marks of FAULTS.md.
func write(t *testing.T, text string) {
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
	out := string(b[:i+len(from)]) + text + string(b[j:])
	if err := os.WriteFile(name, []byte(out), 0o644); err != nil {
		t.Fatal(err)
	}
}
