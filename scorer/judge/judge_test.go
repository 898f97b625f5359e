package judge

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

var (
	sessions = flag.Int("sessions", 0, "judge this many sessions and print the whole table; 0 is the short trial with bounds")
	seed     = flag.Uint64("seed", 20261125, "of the sessions")
	tableTo  = flag.String("table", "", "write the table to this file as well")
	binary   = flag.String("canter", "", "the program to judge; built from this tree when empty")
)

// program returns the path of the real program.
func program(t *testing.T) string {
	t.Helper()
	if *binary != "" {
		return *binary
	}
	out := filepath.Join(t.TempDir(), "canter")
	cmd := exec.Command("go", "build", "-o", out, "canter.example/cmd/canter")
	if b, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("build canter: %v\n%s", err, b)
	}
	return out
}

// TestJudged runs the real program over a few hundred invented sessions. The
// bounds are far from what it did when they were set (testdata), so that they
// fail on a regression and not on a small change.
//
// The whole table: go test ./scorer/judge -run Judged -sessions 1250 -seed 7 -v -timeout 60m.
func TestJudged(t *testing.T) {
	count := *sessions
	if count == 0 {
		count = 250
	}
	trial := &Trial{Bin: program(t), Dir: t.TempDir()}
	rs, err := trial.Run(t.Context(), *seed, 0, count)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "%d sessions of seed %d\n", count, *seed)
	if err := Table(&b, rs); err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(&b, "\nRefused files: %d\n", len(trial.Refused))
	for _, l := range trial.Refused[:min(len(trial.Refused), 10)] {
		fmt.Fprintln(&b, " ", l)
	}
	t.Logf("%s", b.String())
	if *sessions == 0 {
		bounds(t, rs)
	}
	if *tableTo != "" {
		if err := os.WriteFile(*tableTo, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// bounds are about twice as bad as what was seen when they were set. The slow
// drift of the gain can't be told from a change of the athlete, and an easy run
// as long as the test can't be told from a test but by its level: the table
// shows both, no bound is set on them.
func bounds(t *testing.T, rs []Result) {
	t.Helper()
	clean := Tally("clean", rs, func(r *Result) bool { return r.Group == Clean })
	trap := Tally("trap", rs, func(r *Result) bool { return r.Group == Trap })
	none := Tally("no test", rs, func(r *Result) bool { return r.Group == NoTest && r.Kind != "easy run as long as the test" })
	bad := Tally("artefact", rs, func(r *Result) bool { return r.Group == Artefact && r.Kind != "slow drift of the gain" })
	if min(clean.N, trap.N, none.N, bad.N) < 20 {
		t.Fatalf("too few sessions of a group: %d, %d, %d, %d", clean.N, trap.N, none.N, bad.N)
	}
	for _, c := range []struct {
		what       string
		got, bound float64 // got must not be above bound
	}{
		{"share of clean starts more than 10 s off", 1 - ratio(clean.In10, clean.Tests), 0.04},
		{"share of clean starts more than 5 s off where the device shows them", 1 - ratio(clean.Seen5, clean.Tests), 0.16},
		{"share of starts in traps more than 10 s off", 1 - ratio(trap.In10, trap.Tests), 0.35},
		{"share of clean tests rejected", ratio(clean.Rejected, clean.N), 0.16},
		{"share of clean tests not good", 1 - ratio(clean.Good, clean.N), 0.45},
		{"clean HRex, mean absolute error in bpm", Mean(clean.Ex), 0.9},
		{"clean HRex against the strap", Mean(clean.StrapEx), 0.25},
		{"clean HRR60, mean absolute error in bpm", Mean(clean.HRR), 3.5},
		{"clean HRR60 against the strap", Mean(clean.StrapHRR), 1.6},
		{"clean or trap tests called good with a wrong HRex", float64(clean.WrongEx + trap.WrongEx), 0},
		{"artefact tests called good with a wrong HRex", float64(bad.WrongEx), 1},
		{"good of no whole test", float64(none.FalseGood + trap.FalseGood), 1},
	} {
		if !(c.got <= c.bound) {
			t.Errorf("%s: %.3g, at most %.3g", c.what, c.got, c.bound)
		}
	}
}

func ratio(n, of int) float64 { return float64(n) / float64(of) }
