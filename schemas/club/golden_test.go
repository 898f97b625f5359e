package club_test

import (
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares got with the file, or writes it.
func golden(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file) //nolint:gosec // a test's own file
	if err != nil {
		t.Fatalf("%v (write it with -update, then read it)", err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s differs (-want +got):\n%s", file, diff)
	}
}

func filesF(f *testing.F, pattern string) []string {
	f.Helper()
	list, err := filepath.Glob(pattern)
	if err != nil || len(list) == 0 {
		f.Fatalf("%s: no files (%v)", pattern, err)
	}
	return list
}

func files(t *testing.T, pattern string, atLeast int) []string {
	t.Helper()
	list, err := filepath.Glob(pattern)
	if err != nil || len(list) < atLeast {
		t.Fatalf("%s: %d files, want at least %d (%v)", pattern, len(list), atLeast, err)
	}
	return list
}

func TestEveryBadClubFileIsRefusedWithItsPlaceAndWhatToDo(t *testing.T) {
	for _, file := range files(t, "testdata/bad/*.yaml", 60) {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".yaml"), func(t *testing.T) {
			c, err := club.Load(file)
			var problems club.Problems
			if !errors.As(err, &problems) || len(problems) == 0 || c != nil {
				t.Fatalf("got %v, %v, want Problems", c, err)
			}
			for _, p := range problems {
				if p.Text == "" || p.Hint == "" || p.Line < 1 || p.Column < 1 {
					t.Errorf("a problem without place or hint: %#v", p)
				}
			}
			golden(t, strings.TrimSuffix(file, ".yaml")+".txt", strings.ReplaceAll(err.Error(), "testdata/bad/", "")+"\n")
		})
	}
}

func TestGoodClubFilesLoadToWhatTheySay(t *testing.T) {
	for _, file := range files(t, "testdata/good/*.yaml", 5) {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".yaml"), func(t *testing.T) {
			c, err := club.Load(file)
			if err != nil {
				t.Fatal(err)
			}
			golden(t, strings.TrimSuffix(file, ".yaml")+".json", readable(t, c))
		})
	}
}

// readable writes a club with zones by name and paths relative to the file.
func readable(t *testing.T, c *club.Club) string {
	t.Helper()
	b, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	here, err := filepath.Abs(filepath.Dir(c.Path))
	if err != nil {
		t.Fatal(err)
	}
	zones := "zone " + c.Zone.String() + "\n" // encoding/json shows no more than {} of a zone
	for _, w := range c.Watched() {
		zones += "CSV zone of " + w.Name + ": " + w.CSVZone.String() + "\n"
	}
	return zones + strings.ReplaceAll(string(b), here, "…") + "\n"
}

func TestTheExampleOfDeployLoadsAndShowsEveryKey(t *testing.T) {
	c, err := club.Load("../../deploy/club.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Athletes) < 6 || len(c.Protocols) != 3 || len(c.Planned) != 2 {
		t.Errorf("%d athletes, %d protocols, %d planned tests", len(c.Athletes), len(c.Protocols), len(c.Planned))
	}
	if c.Thresholds != club.DefaultThresholds() {
		t.Errorf("the example says its thresholds are the defaults, and they are not: %+v", c.Thresholds)
	}
	def := club.DefaultProtocol("x", 4*time.Minute)
	def.Stages[0].SpeedKMH = schemas.Num(12)
	if p := c.Protocol("run4"); p.Version != p.Digest() || p.Version != def.Digest() || p.BandLow != def.BandLow || p.MinCoverage != def.MinCoverage {
		t.Errorf("the example says run4 shows the defaults, and it does not: %+v", p)
	}
	text, err := os.ReadFile("../../deploy/club.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range schemaKeys(t) {
		if !strings.Contains(string(text), key+":") {
			t.Errorf("deploy/club.yaml does not show the key %s", key)
		}
	}
}
