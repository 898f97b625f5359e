package formats

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestNothingOfTheFilesMemoryIsKept: text is read without a copy of it, and its
// memory is used again for the next file.
func TestNothingOfTheFilesMemoryIsKept(t *testing.T) {
	names, err := filepath.Glob("../../testdata/formats/good/*")
	if err != nil || len(names) < 10 {
		t.Fatalf("%d good inputs: %v", len(names), err)
	}
	for _, name := range names {
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		want, _, errWant := Decode(name, bytes.Clone(content), Options{})
		got, _, errGot := Decode(name, content, Options{})
		for i := range content {
			content[i] = 'X'
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: -copied +overwritten\n%s", name, diff)
		}
		if (errWant == nil) != (errGot == nil) || errWant != nil && errWant.Error() != errGot.Error() {
			t.Errorf("%s: %v, overwritten: %v", name, errWant, errGot)
		}
	}
}
