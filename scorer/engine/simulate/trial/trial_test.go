package trial

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"canter.example/scorer/engine/simulate"
	"canter.example/scorer/engine/simulate/holdout"
)

var (
	sessions = flag.Int("sessions", 1500, "simulated sessions; the issue's targets are stated for 10000")
	update   = flag.Bool("update", false, "write the table of this run to testdata")
)

// seed of the committed tables. Thresholds were set on other seeds.
const seed = 20260303

// golden writes the table to testdata with the command that made it.
func golden(t *testing.T, name, what string, tab *Table) {
	t.Helper()
	t.Log("\n" + tab.Text())
	if !*update {
		return
	}
	text := fmt.Sprintf("%s\ngo test ./scorer/engine/simulate/trial -run '%s' -sessions %d -update\n\n%s", what, t.Name(), *sessions, tab.Text())
	if err := os.WriteFile(filepath.Join("..", "..", "testdata", name), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// most allows a share of n, and three standard errors of it for chance.
func most(share float64, n int) int {
	mean := share * float64(n)
	return int(math.Ceil(mean + 3*math.Sqrt(mean)))
}

// least allows a share of n to be missed by three standard errors for chance.
func least(share float64, n int) float64 {
	return share - 3*math.Sqrt(share*(1-share)/float64(n))
}

func (r *Row) within() float64 { return float64(r.Within5) / float64(r.Tests) }
func (r *Row) honest() float64 { return float64(r.Honest) / float64(r.Tests) }
func (r *Row) good() float64   { return float64(r.Good) / float64(r.Tests) }

// TestTargets holds the scorer to its targets on simulated sessions.
func TestTargets(t *testing.T) {
	tab := Run(*sessions, seed)
	golden(t, "reliability.txt", "Sessions of the package simulate, with which the scorer was made. 'or said': within 5 s, or the test\n"+
		"itself says that its start is uncertain. Errors are of good tests. silent: good tests whose HRex is off by\n"+
		"more than 3 bpm or that were none; HRR: whose HRR is off by more than 6 bpm, or that had no rest after them.", &tab)
	clean, bad, trap, no := tab.Group(simulate.Clean), tab.Group(simulate.Artefact), tab.Group(simulate.Trap), tab.Group(simulate.NoTest)
	for _, g := range []*Row{clean, bad, trap, no} {
		if g.Sessions < 100 {
			t.Fatalf("%s: only %d sessions", g.Name, g.Sessions)
		}
	}
	if clean.within() < least(0.99, clean.Tests) {
		t.Errorf("%.1f %% of clean starts within 5 s", 100*clean.within())
	}
	// The target for starts with traps is 95 % within 5 s. Straps put on
	// late show no beginning, and who runs on at once no end: there the test has
	// to say that its start is uncertain.
	if trap.within() < 0.88 || trap.honest() < 0.955 {
		t.Errorf("starts with traps: %.1f %% within 5 s, %.1f %% or said to be uncertain", 100*trap.within(), 100*trap.honest())
	}
	if clean.good() < 0.92 {
		t.Errorf("%.1f %% of clean tests are good", 100*clean.good())
	}
	if clean.HRex.Mean > 0.4 || clean.HRR.Mean > 1.4 {
		t.Errorf("clean HRex: %+v, HRR: %+v", clean.HRex, clean.HRR)
	}
	if bad.SilentWrong > most(0.0014, bad.Sessions) || bad.SilentHRR > most(0.0014, bad.Sessions) {
		t.Errorf("%d HRex and %d HRR of %d traces with artefacts silently wrong", bad.SilentWrong, bad.SilentHRR, bad.Sessions)
	}
	if clean.SilentWrong+trap.SilentWrong > 1 {
		t.Errorf("silently wrong: %d clean, %d with traps", clean.SilentWrong, trap.SilentWrong)
	}
	if no.Good > 0 {
		t.Errorf("%d tests called good in traces without one: %v", no.Good, no.Worst)
	}
	for _, b := range tab.Reliability {
		if b.Starts > 100 && b.Real < b.Stated-0.05 {
			t.Errorf("confidence %.2f stated, %.2f real over %d starts", b.Stated, b.Real, b.Starts)
		}
	}
}

// TestHoldOut judges the scorer on sessions of a generator that it was not made
// with. The limits are what was met when they were written down: they notice a
// change for the worse.
func TestHoldOut(t *testing.T) {
	tab := RunWith(holdout.Scenarios, holdout.Make, *sessions, seed)
	golden(t, "holdout.txt", "Sessions of the package holdout, which only judges. Columns as in reliability.txt. 'lagging' and 'drifting\n"+
		"gain' are faults that no single trace can show; they count in no sum.", &tab)
	clean, bad, trap, no := tab.Group(simulate.Clean), tab.Group(simulate.Artefact), tab.Group(simulate.Trap), tab.Group(simulate.NoTest)
	for _, g := range []*Row{clean, bad, trap, no} {
		if g.Sessions < 70 {
			t.Fatalf("%s: only %d sessions", g.Name, g.Sessions)
		}
	}
	if clean.within() < least(0.95, clean.Tests) || trap.honest() < 0.90 {
		t.Errorf("%.1f %% of clean starts within 5 s; %.1f %% with traps, or said to be uncertain", 100*clean.within(), 100*trap.honest())
	}
	if clean.good() < least(0.90, clean.Tests) {
		t.Errorf("%.1f %% of clean tests are good", 100*clean.good())
	}
	if clean.HRex.Mean > 0.5 || clean.HRR.Mean > 1.5 {
		t.Errorf("clean HRex: %+v, HRR: %+v", clean.HRex, clean.HRR)
	}
	if clean.SilentWrong > most(0.002, clean.Sessions) || clean.SilentHRR > most(0.003, clean.Sessions) {
		t.Errorf("%d HRex and %d HRR of %d clean sessions silently wrong", clean.SilentWrong, clean.SilentHRR, clean.Sessions)
	}
	if bad.SilentWrong > most(0.012, bad.Sessions) || bad.SilentHRR > most(0.012, bad.Sessions) {
		t.Errorf("%d HRex and %d HRR of %d traces with artefacts silently wrong", bad.SilentWrong, bad.SilentHRR, bad.Sessions)
	}
	// Warm-up jogs just as long as the test, at its level, can't be told from it.
	if no.Good > most(0.01, no.Sessions) {
		t.Errorf("%d tests called good in %d traces without one: %v", no.Good, no.Sessions, no.Worst)
	}
}

func TestRunIsDeterministic(t *testing.T) {
	a, b := Run(200, 5), Run(200, 5)
	if !reflect.DeepEqual(a, b) {
		t.Error("two runs of one seed differ")
	}
	if c := Run(200, 6); reflect.DeepEqual(a.Rows, c.Rows) {
		t.Error("another seed gives the same table")
	}
}

func TestSimulationImportsNothingOfTheScorer(t *testing.T) {
	files, err := filepath.Glob("../*.go")
	more, err2 := filepath.Glob("../holdout/*.go")
	files = append(files, more...)
	if err != nil || err2 != nil || len(more) < 4 || len(files) < 9 {
		t.Fatalf("%v, %v", files, err)
	}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(b), "scorer/engine\"") {
			t.Errorf("%s imports the scorer", f)
		}
	}
}
