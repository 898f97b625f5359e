package main

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"canter.example/cmd/canter/season"
	"canter.example/ingest/formats"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/scorer/engine"
	"canter.example/scorer/identify"
)

// TestTrustOnTheSeason scores every file of the demo's season with its planned
// time. The season's generator knows nothing of the scorer, so its truths judge
// it: no number may be silently wrong, hardly a start, and sound traces are hardly
// doubted.
func TestTrustOnTheSeason(t *testing.T) {
	for _, withPlan := range []bool{true, false} {
		n := trust(t, season.Options{}, withPlan)
		t.Logf("with plan %v: %+v", withPlan, n)
		if n.sound < 250 || n.trainings < 20 {
			t.Fatalf("with plan %v: only %d sound tests and %d trainings", withPlan, n.sound, n.trainings)
		}
		if n.silentHRex+n.silentHRR > 0 {
			t.Errorf("with plan %v: %+v", withPlan, n)
		}
		// The target for clean traces is 99 % of starts within 5 s; one is 6 s early.
		if n.silentStart*100 > n.sound {
			t.Errorf("with plan %v: %d of %d starts are off by more than 5 s", withPlan, n.silentStart, n.sound)
		}
		if n.good*100 < 98*n.sound {
			t.Errorf("with plan %v: %d of %d sound tests are good", withPlan, n.good, n.sound)
		}
	}
}

// trusted counts what became of the season's traces.
type trusted struct {
	sound, good, missed, doubtful, trainings int
	silentHRex, silentHRR, silentStart       int
}

func trust(t *testing.T, o season.Options, withPlan bool) (n trusted) {
	t.Helper()
	s, err := season.New(o)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "athletes.csv"), s.AthletesCSV, 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := club.Parse(filepath.Join(dir, "club.yaml"), s.ClubYAML)
	if err != nil {
		t.Fatal(err)
	}
	p := c.Protocol("run-12")
	for _, d := range s.Days {
		for _, f := range d.Files {
			if len(f.Truth) == 0 {
				continue // daily series: no heart rate inside
			}
			origin := schemas.Origin{Folder: f.Folder, Path: f.Path[len(f.Folder)+1:]}
			traces, _, err := formats.Decode(f.Path, f.Content, formats.Options{Zone: s.Zone, Date: d.Date})
			if err != nil {
				t.Errorf("%s: %v", f.Path, err)
				continue
			}
			for i := range traces {
				who, err := identify.Who(c, identify.Question{Origin: origin, Trace: &traces[i], Traces: len(traces)})
				if err != nil {
					continue // the stranger
				}
				truth := &f.Truth[0]
				for j := range f.Truth {
					if f.Truth[j].Athlete == who.Athlete.ID {
						truth = &f.Truth[j]
					}
				}
				req := engine.Request{Protocol: p, HRmax: who.Athlete.HRmaxAt(2026)}
				slots := c.SlotsFor(who.Squad, traces[i].Start, traces[i].Start.Add(traces[i].End()))
				if withPlan && len(slots) > 0 {
					req.Around, req.Within = slots[0].Time, slots[0].Planned.Within
				}
				n.count(t, f.Path, truth, engine.Score(&traces[i], req))
			}
		}
	}
	return n
}

func (n *trusted) count(t *testing.T, path string, truth *season.Truth, r engine.Result) {
	t.Helper()
	switch {
	case truth.Test && !truth.Doubtful:
		n.sound++
	case truth.Test:
		n.doubtful++
	default:
		n.trainings++
	}
	if truth.Test && !truth.Doubtful && len(r.Tests) == 0 {
		n.missed++
		t.Logf("%s %s: not found: %s", path, truth.Athlete, r.None.Text)
	}
	good := false
	for i := range r.Tests {
		o := &r.Tests[i].Outcome
		if o.Quality != schemas.Good {
			if truth.Test && !truth.Doubtful && o.Start.Sub(truth.Start).Abs() < time.Minute {
				t.Logf("%s %s: %s: %v", path, truth.Athlete, o.Quality, o.Reasons)
			}
			continue
		}
		if !truth.Test || o.Start.Sub(truth.Start).Abs() > 5*time.Second {
			n.silentStart++
			t.Logf("%s %s: good, start %v, truly %v", path, truth.Athlete, o.Start, truth.Start)
			continue
		}
		good = true
		if e := math.Abs(o.HRexBPM.Or(0) - truth.HRexBPM); e > 3 {
			n.silentHRex++
			t.Logf("%s %s: good, HRex off by %.1f bpm", path, truth.Athlete, e)
		}
		if v, ok := o.HRR(60); ok && math.Abs(v.BPM.Or(0)-truth.HRR60) > 6 {
			n.silentHRR++
			t.Logf("%s %s: good, HRR60 %.1f, truly %.1f", path, truth.Athlete, v.BPM.Or(0), truth.HRR60)
		}
	}
	if good && !truth.Doubtful {
		n.good++
	}
}
