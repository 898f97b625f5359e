package simulate

import (
	"fmt"
	"io"
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
	if err := line("%d squads of %d athletes a line, %d tests each, seed %d. HRex in points of %%HRmax, HRR in bpm.", f.Squads, f.Athletes, weeks, f.Seed); err != nil {
		return err
	}
	for _, n := range noises {
		if err := line("\n### Typical error: HRex %.1f points, HRR60 %.1f bpm", n.HRex, n.HRR); err != nil {
			return err
		}
		if err := quietTable(line, o, n); err != nil {
			return err
		}
		if err := powerTable(line, o, n); err != nil {
			return err
		}
		if err := heatTable(line, o, n); err != nil {
			return err
		}
	}
	return nil
}

func quietTable(line func(string, ...any) error, o Options, n Noise) error {
	if err := line("\n| nothing happens | false alerts in 40 tests | in a season of 36 judged tests | plain z over 2, in 40 tests | sessions told as moved |\n|---|---|---|---|---|"); err != nil {
		return err
	}
	for _, v := range Variants() {
		q := Unchanged(o, n, v)
		if err := line("| %s | %.2f | %.2f | %.2f | %.1f %% |", v.Name, q.Per40, q.Season, q.PlainPer40, 100*q.Sessions); err != nil {
			return err
		}
	}
	return nil
}

func powerTable(line func(string, ...any) error, o Options, n Noise) error {
	if err := line("\n| eight athletes change | told at the first test | within 2 | within 8 | within 12 | median delay, tests |\n|---|---|---|---|---|---|"); err != nil {
		return err
	}
	for _, c := range changes {
		for _, v := range Variants() {
			if v.Name != "as shipped" && c.change.Step != 4 && c.change.Drift == 0 {
				continue
			}
			p := Changed(o, n, c.change, v)
			delay := fmt.Sprint(p.Delay)
			if p.Delay == 0 {
				delay = "more than half never"
			}
			if err := line("| %s, %s | %.0f %% | %.0f %% | %.0f %% | %.0f %% | %s |", c.name, v.Name, 100*p.First, 100*p.Second, 100*p.Within8, 100*p.Within12, delay); err != nil {
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
		if err := line("| %s | %.0f %% | %.2f | %.2f | %.1f %% |", v.Name, 100*h.Session, h.Alerts, h.Plain, 100*h.Alerts/h.Plain); err != nil {
			return err
		}
	}
	return nil
}
