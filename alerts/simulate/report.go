package simulate

import (
	"fmt"
	"io"
	"math"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

// noises are the published typical errors (FACTS 2.1, 2.2).
var noises = []Noise{{1.2, 3.4}, {1.6, 3.4}}

// changes are what the table puts into squads.
var changes = []struct {
	name   string
	change Change
}{
	{"step of 2 points", Change{Step: 2}},
	{"step of 3 points", Change{Step: 3}},
	{"step of 4 points", Change{Step: 4}},
	{"step of 5 points", Change{Step: 5}},
	{"drift of 0.5 point a week", Change{Drift: 0.5}},
}

// Report plays everything and writes the table as Markdown. It ends early with
// the error of stop, which is asked between lines.
func Report(w io.Writer, o Options, stop func() error) error {
	line := func(format string, args ...any) error {
		if err := stop(); err != nil {
			return err
		}
		_, err := fmt.Fprintf(w, format+"\n", args...)
		return err
	}
	f := o.filled()
	if err := line("%d squads of %d athletes a line, %d tests each, seed %d. HRex in points of %%HRmax, HRR in bpm. ± is the standard error of the simulation.", f.Squads, f.Athletes, weeks, f.Seed); err != nil {
		return err
	}
	for _, n := range noises {
		if err := line("\n### Typical error: HRex %.1f points, HRR60 %.1f bpm", n.HRex, n.HRR); err != nil {
			return err
		}
		for _, part := range []func(func(string, ...any) error, Options, Noise) error{quietTable, powerTable, heatTable, sizeTable, seedTable} {
			if err := part(line, o, n); err != nil {
				return err
			}
		}
	}
	return nil
}

// num and pct write an estimate with its error; that of one squad is not known.
func num(e Estimate) string {
	if math.IsNaN(e.SE) {
		return fmt.Sprintf("%.2f", e.Mean)
	}
	return fmt.Sprintf("%.2f ± %.2f", e.Mean, e.SE)
}

func pct(e Estimate) string {
	if math.IsNaN(e.SE) {
		return fmt.Sprintf("%.0f %%", 100*e.Mean)
	}
	return fmt.Sprintf("%.0f ± %.0f %%", 100*e.Mean, 100*e.SE)
}

func quietTable(line func(string, ...any) error, o Options, n Noise) error {
	if err := line("\n| nothing happens | false alerts in 40 tests | plain z over 2, in 40 tests | sessions told as moved |\n|---|---|---|---|"); err != nil {
		return err
	}
	var rules map[schemas.RuleID]float64
	for i, v := range Variants() {
		q := Unchanged(o, n, v)
		if i == 0 {
			rules = q.Rules
		}
		if err := line("| %s | %s | %s | %.1f %% |", v.Name, num(q.Per40), num(q.PlainPer40), 100*q.Sessions.Mean); err != nil {
			return err
		}
	}
	if err := line("\n| false alerts by rule, as shipped | in 40 tests |\n|---|---|"); err != nil {
		return err
	}
	for _, id := range club.Settable {
		if rate := rules[id]; rate > 0 {
			if err := line("| %s | %.2f |", id, rate); err != nil {
				return err
			}
		}
	}
	return nil
}

func powerTable(line func(string, ...any) error, o Options, n Noise) error {
	if err := line("\n| a third of the squad, at most eight, changes | told at the first test | within 2 | within 8 | within 12 | median delay, tests |\n|---|---|---|---|---|---|"); err != nil {
		return err
	}
	for _, c := range changes {
		for _, v := range Variants() {
			p := Changed(o, n, c.change, v)
			delay := fmt.Sprint(p.Delay)
			if p.Delay == 0 {
				delay = "more than half never"
			}
			if err := line("| %s, %s | %s | %s | %s | %s | %s |", c.name, v.Name, pct(p.First), pct(p.Second), pct(p.Within8), pct(p.Within12), delay); err != nil {
				return err
			}
		}
	}
	return nil
}

func heatTable(line func(string, ...any) error, o Options, n Noise) error {
	if err := line("\n| hot day, +4 points for all | told as one session | individual alerts | plain z over 2 | share |\n|---|---|---|---|---|"); err != nil {
		return err
	}
	for _, v := range Variants() {
		h := HotDay(o, n, 4, v)
		if err := line("| %s | %s | %s | %s | %.1f %% |", v.Name, pct(h.Session), num(h.Alerts), num(h.Plain), 100*h.Alerts.Mean/h.Plain.Mean); err != nil {
			return err
		}
	}
	return nil
}

// sizes of squads that the table plays; below 5 there is neither a squad
// effect nor a squad's spread.
var sizes = []int{4, 8, 14, 30}

func sizeTable(line func(string, ...any) error, o Options, n Noise) error {
	return targets(line, "squad of", sizes, func(size int) (Options, string) {
		o.Athletes = size
		return o, fmt.Sprintf("%d athletes", size)
	}, n)
}

// seeds that the table plays beside its own.
var seeds = []int{1, 2, 3}

func seedTable(line func(string, ...any) error, o Options, n Noise) error {
	first := o.Seed
	return targets(line, "other random numbers", seeds, func(seed int) (Options, string) {
		o.Seed = first + uint64(seed) //nolint:gosec // a small number
		return o, fmt.Sprintf("seed %d", o.Seed)
	}, n)
}

// targets has the three figures that the defaults are held to.
func targets(line func(string, ...any) error, what string, of []int, with func(int) (Options, string), n Noise) error {
	if err := line("\n| %s | false alerts in 40 tests | step of 4 points within 2 | hot day told as one session | its individual alerts, of plain z's |\n|---|---|---|---|---|", what); err != nil {
		return err
	}
	v := Variants()[0]
	for _, x := range of {
		o, name := with(x)
		q, p, h := Unchanged(o, n, v), Changed(o, n, Change{Step: 4}, v), HotDay(o, n, 4, v)
		if err := line("| %s | %s | %s | %s | %.1f %% |", name, num(q.Per40), pct(p.Second), pct(h.Session), 100*h.Alerts.Mean/h.Plain.Mean); err != nil {
			return err
		}
	}
	return nil
}
