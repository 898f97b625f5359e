package simulate_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"canter.example/alerts/simulate"
	"canter.example/schemas/club"
)

var noises = []simulate.Noise{{HRex: 1.2, HRR: 3.4}, {HRex: 1.6, HRR: 3.4}}

// figures are what the defaults are held to.
type figures struct {
	quiet simulate.Quiet
	power simulate.Power
	heat  simulate.Heat
}

func play(n simulate.Noise, t *club.Thresholds, squads int) figures {
	v, o := simulate.Variants()[0], simulate.Options{Squads: squads, Seed: 11, Thresholds: t}
	hot := o
	hot.Squads *= 2 // a hot day is one session of a short season
	return figures{simulate.Unchanged(o, n, v), simulate.Changed(o, n, simulate.Change{Step: 4}, v), simulate.HotDay(hot, n, 4, v)}
}

// missed returns the targets that the figures miss (issue "Honest error
// rates"): at most one false alert per athlete in 40 tests, a step of 4 points
// told within two tests at least 80 % of the time, and on a hot day one
// session message and at most 5 % of the individual alerts that plain z-scores
// would send.
func (f figures) missed() (out []string) {
	if f.quiet.Per40.Mean > 1 {
		out = append(out, "false alerts")
	}
	if f.power.Second.Mean < 0.8 {
		out = append(out, "power")
	}
	if f.heat.Session.Mean < 1 || f.heat.Plain.Mean < 10 || f.heat.Alerts.Mean > 0.05*f.heat.Plain.Mean {
		out = append(out, "hot day")
	}
	return out
}

// TestTheDefaultsMeetTheirErrorRates, at the published typical errors (Scott et
// al. 2018; Shushan et al. 2023; FACTS 2.1, 2.2), false alerts by twice the
// simulation's own error. Seeded, so it says the same every time; other seeds
// and squads are in alerts/ERRORRATES.md.
func TestTheDefaultsMeetTheirErrorRates(t *testing.T) {
	for _, n := range noises {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			t.Parallel()
			f := play(n, nil, 12)
			t.Logf("%+v", f)
			if missed := f.missed(); missed != nil {
				t.Errorf("misses %q: %+v", missed, f)
			}
			if q := f.quiet; q.Per40.Mean+2*q.Per40.SE > 1 {
				t.Errorf("false alerts %+v: too near to 1", q.Per40)
			}
			if q := f.quiet; q.Per40.Mean < 0.2 || q.PlainPer40.Mean < 2*q.Per40.Mean {
				t.Errorf("%+v: the simulation does not simulate", q)
			}
		})
	}
}

// TestOtherThresholdsMissTheTargets: the targets can be missed, on either side.
func TestOtherThresholdsMissTheTargets(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*club.Thresholds)
		missed []string
	}{
		{"z 1.4 of two tests running is too easily reached", func(t *club.Thresholds) { t.Rules.HRexRunning.Z = 1.4 }, []string{"false alerts"}},
		{"without the rule of tests running a step is found too late", func(t *club.Thresholds) { t.Rules.HRexRunning.Off = true }, []string{"power"}},
		{"a squad's shift taken for a trifle lets a hot day through", func(t *club.Thresholds) { t.SquadPoints = 5 }, []string{"hot day"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			th := club.DefaultThresholds()
			c.change(&th)
			f := play(noises[1], &th, 6)
			for _, m := range c.missed {
				if !slices.Contains(f.missed(), m) {
					t.Errorf("does not miss %q: %+v", m, f)
				}
			}
		})
	}
}

func TestWithoutTheSquadEffectAHotDayIsAFlood(t *testing.T) {
	v := simulate.Variants()[1]
	h := simulate.HotDay(simulate.Options{Squads: 3}, simulate.Noise{HRex: 1.2, HRR: 3.4}, 4, v)
	if h.Session.Mean > 0 || h.Alerts.Mean < 10 {
		t.Errorf("%+v", h)
	}
}

func TestTheSameSeedGivesTheSameFigures(t *testing.T) {
	o, n, v := simulate.Options{Squads: 3, Athletes: 6, Seed: 5}, noises[0], simulate.Variants()[0]
	if a, b := simulate.Changed(o, n, simulate.Change{Step: 4}, v), simulate.Changed(o, n, simulate.Change{Step: 4}, v); a != b {
		t.Errorf("%+v and then %+v", a, b)
	}
}

func TestTheReportHasEveryPartOfTheTable(t *testing.T) {
	var b strings.Builder
	if err := simulate.Report(&b, simulate.Options{Squads: 1, Athletes: 8}, func() error { return nil }); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(b.String(), "NaN") {
		t.Error("an error that nobody can know is written out")
	}
	for _, want := range []string{"nothing happens", "step of 5 points, as shipped", "drift of 0.5 point a week, without either", "hot day", "14 athletes", "seed 3", "HRex 1.6 points"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("%q is missing in\n%s", want, b.String())
		}
	}
}
