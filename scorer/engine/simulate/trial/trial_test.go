package trial

import (
	"flag"
	"fmt"
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

func (r *Row) within() float64 { return float64(r.Within5) / float64(r.Tests) }
func (r *Row) honest() float64 { return float64(r.Honest) / float64(r.Tests) }
func (r *Row) good() float64   { return float64(r.Good) / float64(r.Tests) }

// silent are the shares of sessions with a silently wrong HRex, and HRR.
func (r *Row) silent() (hrex, hrr float64) {
	return float64(r.SilentWrong) / float64(r.Sessions), float64(r.SilentHRR) / float64(r.Sessions)
}

// limit is what a table must keep to: got at most most, or at least least. The
// sessions of a seed are always the same, so there is no allowance for chance.
type limit struct {
	what        string
	got         float64
	least, most float64
}

func hold(t *testing.T, limits []limit) {
	t.Helper()
	for _, l := range limits {
		if !(l.got >= l.least && l.got <= l.most) {
			t.Errorf("%s: %.4g, not in %.4g to %.4g", l.what, l.got, l.least, l.most)
		}
	}
}

// honest holds stated confidences to the real shares: never much above them.
func honest(t *testing.T, tab *Table) {
	t.Helper()
	seen := 0
	for _, b := range tab.Reliability {
		if b.Starts < 100 {
			continue
		}
		seen++
		if b.Real < b.Stated-0.03 {
			t.Errorf("confidence %.2f stated, %.2f real over %d starts", b.Stated, b.Real, b.Starts)
		}
	}
	if seen < 4 {
		t.Errorf("only %d bins of confidence with enough starts", seen)
	}
}

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
	hrex, hrr := bad.silent()
	hold(t, []limit{
		// The targets are for 10,000: of a short run's few hundred one more may miss.
		{"clean starts within 5 s", clean.within(), 0.99 - 1/float64(clean.Tests), 1},
		// Straps put on late show no beginning, and who runs on at once no end: there
		// the test has to say that its start is uncertain.
		{"starts with traps within 5 s", trap.within(), 0.95, 1},
		{"starts with traps within 5 s or said to be uncertain", trap.honest(), 0.955, 1},
		{"clean tests called good", clean.good(), 0.905, 1},
		{"clean HRex, mean error in bpm", clean.HRex.Mean, 0, 0.4},
		{"clean HRR, mean error in bpm", clean.HRR.Mean, 0, 1.4},
		// The target, which is 5 of 10,000 sessions, as this seed has. Six seeds
		// on which no limit was compared (110,000,000 and on, a million apart) had 20 of
		// 31,428: 0.064 %. What is left: steps of 6 to 10 bpm in the rise where samples
		// are few and noisy, and locks on a step rate within 5 bpm of heart rate that are
		// as calm as it. A short run may have one.
		{"artefacts with a silently wrong HRex", hrex, 0, max(0.001, 1/float64(bad.Sessions))},
		{"artefacts with a silently wrong HRR", hrr, 0, max(0.002, 2/float64(bad.Sessions))},
		{"clean and trap tests with a silently wrong HRex", float64(clean.SilentWrong + trap.SilentWrong), 0, 0},
		{"tests called good where there is none", float64(no.Good), 0, 0},
	})
	honest(t, &tab)
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
	cleanHRex, cleanHRR := clean.silent()
	hrex, hrr := bad.silent()
	hold(t, []limit{
		{"clean starts within 5 s", clean.within(), 0.955, 1},
		{"starts with traps within 5 s", trap.within(), 0.91, 1},
		{"starts with traps within 5 s or said to be uncertain", trap.honest(), 0.92, 1},
		{"clean tests called good", clean.good(), 0.895, 1},
		{"clean HRex, mean error in bpm", clean.HRex.Mean, 0, 0.4},
		{"clean HRR, mean error in bpm", clean.HRR.Mean, 0, 1.2},
		{"clean tests with a silently wrong HRex", cleanHRex, 0, 0.0018},
		{"clean tests with a silently wrong HRR", cleanHRR, 0, 0.003},
		{"artefacts with a silently wrong HRex", hrex, 0, 0.005},
		{"artefacts with a silently wrong HRR", hrr, 0, 0.015},
		// Warm-up jogs just as long as the test, at its level, can't be told from it.
		{"tests called good where there is none, share", float64(no.Good) / float64(no.Sessions), 0, 0.01},
	})
	honest(t, &tab)
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
