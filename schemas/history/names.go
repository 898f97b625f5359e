package history

import (
	"io/fs"
	"regexp"
	"strings"
)

var created = regexp.MustCompile(`(?m)^CREATE (?:TABLE|VIEW) IF NOT EXISTS ([a-z0-9_]+)`)

// Names returns the tables and views that people query, in the order they were
// made. They are the same in both engines and have the same columns there; what
// each holds stands in DICTIONARY.md.
func Names() []string {
	files, err := fs.Glob(migrations, "sqlite/*.sql")
	if err != nil {
		panic(err) // the pattern is well formed
	}
	var names []string
	known := map[string]bool{}
	for _, file := range files {
		text, err := migrations.ReadFile(file)
		if err != nil {
			panic(err) // it was listed
		}
		for _, m := range created.FindAllStringSubmatch(string(text), -1) {
			if name := m[1]; !strings.HasPrefix(name, "stored_") && !known[name] {
				known[name] = true
				names = append(names, name)
			}
		}
	}
	return names
}
