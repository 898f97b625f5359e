package main

import (
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/licensecheck"
)

var writeLicences = flag.Bool("licences", false, "write LICENCES.md anew")

// permissive are the licences that a binary of ours may be built from: they ask
// for no more than their text's being passed on.
var permissive = map[string]bool{
	"Apache-2.0": true, "BSD-2-Clause": true, "BSD-3-Clause": true, "MIT": true, "MIT-0": true, "ISC": true,
	"FTL": true, "CC-BY-3.0": true, "CC-BY-4.0": true, "Unlicense": true, "OFL-1.1": true, "BlueOak-1.0.0": true,
	"CC0-1.0": true, "BSD-2-Clause-Views": true, "Unicode-DFS-2016": true, "BSL-1.0": true,
}

// byHand are modules whose licence the library does not recognise, or whose
// choice of several has been made, with what was read in their files.
var byHand = map[string]string{
	// Its file offers the FreeType licence or the GPL; the first is taken.
	"github.com/golang/freetype": "FTL",
	// Its file of third parties lists all of its module graph; what is compiled
	// in of that is listed here by itself. SQLite is in the public domain.
	"modernc.org/sqlite": "BSD-3-Clause, MIT, public domain",
}

// TestTheBinaryIsBuiltFromPermissiveLicencesOnly keeps LICENCES.md true: every
// module that is compiled in, and every file of others that is embedded.
func TestTheBinaryIsBuiltFromPermissiveLicencesOnly(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), "go", "list", "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}} {{.Dir}}{{end}}{{end}}", ".").Output()
	if err != nil {
		t.Fatal(err)
	}
	var list strings.Builder
	list.WriteString("# What canter is built from\n\nMade by `go test ./cmd/canter -run Licences -licences`; the versions are in go.mod. The texts are in each module.\n\n| module | licence |\n|---|---|\n")
	modules := strings.Split(strings.TrimSpace(string(out)), "\n")
	slices.Sort(modules)
	modules = slices.Compact(modules)
	if len(modules) < 20 {
		t.Fatalf("only %d modules", len(modules))
	}
	for _, m := range modules {
		path, dir, _ := strings.Cut(m, " ")
		licence := byHand[path]
		if licence == "" {
			licence = licenceIn(t, dir, path)
		}
		_, _ = fmt.Fprintf(&list, "| %s | %s |\n", path, licence)
	}
	others := "\nFiles of others in this repository, each with its licence beside it:\n\n"
	root := filepath.Join("..", "..")
	err = filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == ".git" || d.Name() == "node_modules" || d.Name() == "build") {
			return fs.SkipDir
		}
		dir := filepath.Dir(name)
		if d.IsDir() || dir == root || !isLicence(d.Name()) {
			return nil
		}
		rel, err := filepath.Rel(root, dir)
		_, _ = fmt.Fprintf(&list, "%s- `%s`: %s\n", others, filepath.ToSlash(rel), licenceIn(t, dir, rel))
		others = ""
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(root, "deploy", "LICENCES.md")
	if *writeLicences {
		if err := os.WriteFile(name, []byte(list.String()), 0o644); err != nil { //nolint:gosec // a page to read
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), list.String()); d != "" {
		t.Errorf("LICENCES.md is not what is built in (-there +now); write it anew with -licences:\n%s", d)
	}
}

func isLicence(name string) bool {
	name = strings.TrimSuffix(strings.TrimSuffix(strings.ToUpper(name), ".TXT"), ".MD")
	return name != "LICENCES" && !strings.HasSuffix(name, ".GO") && (strings.HasPrefix(name, "LICENSE") || strings.HasPrefix(name, "LICENCE") || strings.HasPrefix(name, "COPYING"))
}

// licenceIn reads the licence files of a folder.
func licenceIn(t *testing.T, dir, path string) string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, e := range entries {
		if e.IsDir() || !isLicence(e.Name()) {
			continue
		}
		text, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range licensecheck.Scan(text).Match {
			found[m.ID] = true
		}
	}
	if len(found) == 0 {
		t.Errorf("%s: no licence found in %s", path, dir)
	}
	var ids []string
	for id := range found {
		if !permissive[id] {
			t.Errorf("%s: licence %s is not among those that a binary of ours may be built from", path, id)
		}
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return strings.Join(ids, ", ")
}
