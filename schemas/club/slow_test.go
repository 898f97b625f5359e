package club_test

import (
	"fmt"
	"strings"
	"testing"

	"canter.example/schemas/club"
)

// TestCrowdedFilesAreRefusedBeforeTheParser names inputs on which the YAML
// parser takes tens of seconds; each must be refused by the guard before it.
// Were one not, the test's own timeout would say so.
func TestCrowdedFilesAreRefusedBeforeTheParser(t *testing.T) {
	const n = 400_000
	var keys strings.Builder
	for i := range n / 12 {
		fmt.Fprintf(&keys, "k%d: 1\n", i)
	}
	for name, s := range map[string]string{
		"many keys":       keys.String(),
		"colons":          strings.Repeat("a: ", n/3),
		"quotes":          strings.Repeat(`"`, n),
		"tags":            strings.Repeat("!a ", n/3),
		"question marks":  strings.Repeat("? a\n", n/4),
		"brackets":        strings.Repeat("[", n),
		"dashes":          strings.Repeat("- ", n/2),
		"a file too long": strings.Repeat("# c\n", n),
	} {
		if _, err := club.Parse("club.yaml", []byte(s)); err == nil || len(err.Error()) > 300 {
			t.Errorf("%s: %.200v", name, err)
		}
	}
}
