package report

import (
	"fmt"
	"slices"

	"canter.example/schemas"
)

// methods says how the numbers were made: a report is read years later, and
// by people who did not set the club up.
func (d *Data) methods() []fact {
	var out []fact
	if p := d.Protocol; p != nil {
		out = append(out, fact{"HRex", hrexMethod(p)})
		if len(p.Recovery) > 0 {
			out = append(out, fact{"HRR", fmt.Sprintf(
				"mean of the last %.0f s of the run less the mean of the %.0f s around the delay, %s. No published convention fixes these windows.",
				p.EndWindow.Seconds(), p.RecoveryWindow.Seconds(), p.Posture)})
		}
		if p.BandHigh > 0 {
			out = append(out, fact{"Intended intensity", fmt.Sprintf("%.0f to %.0f %%HRmax", 100*p.BandLow, 100*p.BandHigh)})
		}
		if p.MinCoverage > 0 {
			out = append(out, fact{"Coverage", fmt.Sprintf("a window needs valid heart rate in %.0f %% of its seconds, else it has no number", 100*p.MinCoverage)})
		}
	}
	out = append(out,
		fact{"Baseline", "the athlete's own earlier tests by the same protocol, this one outside it; only good traces, and doubtful ones that staff accepted"},
		fact{"z", "change from the baseline mean in standard deviations: the athlete's own, drawn toward the squad's where tests are few"},
		fact{"Expected", "95 % prediction interval: where the next test of an unchanged athlete falls, 95 times in 100"},
	)
	if slices.ContainsFunc(d.Tests, func(t Test) bool { return t.Beside != nil }) {
		out = append(out, fact{"Load and daily values", "of the days before the test, as context: no verdict is drawn from them. TRIMP by Banister (1991), zones summed by Edwards (1993), from all of the athlete's recordings"})
	}
	return append(out, d.errorWords()...)
}

func hrexMethod(p *schemas.Protocol) string {
	w := p.HRexWindow.Seconds()
	switch p.HRex {
	case schemas.PeakMean:
		return fmt.Sprintf("highest mean over %.0f s inside the run", w)
	case schemas.StageMean:
		return fmt.Sprintf("mean over the last %.0f s of each stage", w)
	case schemas.FinalMean:
	}
	return fmt.Sprintf("mean over the last %.0f s of the run", w)
}

// errorWords gives typical error and smallest worthwhile change as the
// assessments used them.
func (d *Data) errorWords() []fact {
	var out []fact
	for _, m := range []struct {
		measure schemas.Measure
		seconds int
		unit    string
	}{{schemas.MeasureHRex, 0, "points of %HRmax"}, {schemas.MeasureHRR, d.hrrSeconds(), "bpm"}} {
		for i := range d.Tests {
			c := d.Tests[i].comparison(m.measure, m.seconds)
			if c == nil || !c.TE.Present() || !c.MDC.Present() {
				continue
			}
			unit := m.unit
			if c.Unit == "bpm" {
				unit = "bpm"
			}
			out = append(out, fact{"Typical error, " + m.measure.Name(m.seconds),
				fmt.Sprintf("%s %s; minimal detectable change %s", c.TE.Text(1), unit, c.MDC.Text(1))})
			break
		}
	}
	return out
}
