package club_test

import (
	"errors"
	"os"
	"testing"
	"time"

	"canter.example/schemas/club"
)

// FuzzParse holds Parse to its promise: a club or problems, each with a text,
// never a panic, and no input that takes seconds.
func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"testdata/bad/*.yaml", "testdata/good/*.yaml", "../../deploy/club.yaml"} {
		for _, file := range filesF(f, pattern) {
			b, err := os.ReadFile(file) //nolint:gosec // a test's own file
			if err != nil {
				f.Fatal(err)
			}
			f.Add(b)
		}
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		c, err := club.Parse("fuzz.yaml", content)
		var problems club.Problems
		switch {
		case err == nil && c == nil:
			t.Fatal("neither club nor error")
		case err == nil:
			if _, err := c.Slots(time.Unix(1.7e9, 0), time.Unix(1.7e9, 0).AddDate(0, 1, 0)); err != nil {
				t.Fatalf("a club that loads has plans that can't be read: %v", err)
			}
		case !errors.As(err, &problems) || len(problems) == 0 || c != nil:
			t.Fatalf("got %v and %v", c, err)
		}
		for _, p := range problems {
			if p.Text == "" || p.File == "" {
				t.Fatalf("a problem without text or file: %#v", p)
			}
		}
	})
}
