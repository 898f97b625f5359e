package engine

import (
	"fmt"
	"math"

	"canter.example/schemas"
)

// Constants of TRIMP, minutes × ΔHR × a·exp(b·ΔHR) with ΔHR the fraction of
// heart-rate reserve, for men and women (Banister 1991; FACTS 2.10, MEMORY).
const (
	trimpMaleA, trimpMaleB     = 0.64, 1.92
	trimpFemaleA, trimpFemaleB = 0.86, 1.67
)

// wellCovered is the share of a session below which its load is remarked on.
const wellCovered = 0.9

// Load computes the training load of a trace for an athlete in the given year
// (for an HRmax estimated from age).
//
//	TRIMP   = Σ Δt · ΔHR · a · exp(b·ΔHR),  ΔHR = (HR-HRrest)/(HRmax-HRrest)
//	Edwards = Σ k · minutes in zone k; 50-60, 60-70, 70-80, 80-90, 90-100 %HRmax
//
// with Δt in minutes. TRIMP is summed sample by sample, as is common practice
// for intermittent sports, so that hard minutes are not averaged away; for an
// even effort it equals Banister's formula with the mean. ΔHR below 0 counts as
// 0, above 1 as 1; heart rates above HRmax are in the fifth zone. Only valid
// time counts, and coverage says how much that was. Load never panics; what it
// can't compute is absent, with a reason.
func Load(tr *schemas.Trace, a *schemas.Athlete, year int) schemas.Load {
	r := Open(tr)
	defer r.Close()
	return r.Load(a, year)
}

// Load does for a recording what [Load] does for a trace.
func (r *Recording) Load(a *schemas.Athlete, year int) (out schemas.Load) {
	defer func() {
		if p := recover(); p != nil {
			out = schemas.Load{Reasons: []schemas.Reason{{Code: schemas.ReasonFileDamaged,
				Text: fmt.Sprintf("no load: %v; please report this file", p)}}}
		}
	}()
	if a == nil {
		a = &schemas.Athlete{}
	}
	out = schemas.Load{Start: r.Trace.Start, HRmax: a.HRmaxAt(year)}
	say := func(code schemas.ReasonCode, format string, args ...any) {
		out.Reasons = append(out.Reasons, schemas.Reason{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	r.clean(out.HRmax)
	s := &r.series
	if len(s.at) == 0 {
		say(schemas.ReasonLowCoverage, "no load: the trace has no samples")
		return out
	}
	first, last := s.at[0], s.at[len(s.at)-1]+s.hold[len(s.hold)-1]
	out.Start, out.Duration = r.Trace.Start.Add(seconds(first)), seconds(last-first)
	whole := s.window(first, last)
	out.Minutes, out.Coverage = whole.seconds/60, whole.coverage()
	if whole.n == 0 {
		say(schemas.ReasonLowCoverage, "no load: the trace has no valid heart rate")
		return out
	}
	out.MeanHR, out.PeakHR = schemas.Num(whole.mean), schemas.Num(whole.peak)
	if out.Coverage < wellCovered {
		say(schemas.ReasonLowCoverage, "valid heart rate covers %.0f %% of the session: its load is an underestimate", 100*out.Coverage)
	}
	top, known := out.HRmax.BPM.Get()
	if !known || top <= 0 {
		say(schemas.ReasonHRmaxUnknown, "no load: HRmax is not known")
		return out
	}
	if out.HRmax.Source == schemas.HRmaxEstimated {
		say(schemas.ReasonHRmaxEstimated, "HRmax of %.0f bpm is an estimate from age, ± %.0f bpm", top, out.HRmax.SEE.Or(0))
	}
	s.addLoad(&out, top, a.HRrest)
	switch {
	case !out.TRIMPMale.Present():
		say(schemas.ReasonHRrestUnknown, "no TRIMP: HRrest is not known, or not below HRmax")
	case a.Sex == schemas.Male:
		out.TRIMP = out.TRIMPMale
	case a.Sex == schemas.Female:
		out.TRIMP = out.TRIMPFemale
	default:
		say(schemas.ReasonHRrestUnknown, "no single TRIMP: the athlete's sex, which picks the constants, is not given; both sets are")
	}
	return out
}

// addLoad sums TRIMP and zones over the valid samples.
func (s *series) addLoad(out *schemas.Load, top float64, hrrest schemas.Number) {
	rest, haveRest := hrrest.Get()
	haveRest = haveRest && rest > 0 && rest < top
	var male, female, edwards float64
	// Heart rates are whole numbers in most traces: each is weighed once.
	var weights [highestHR + 1]struct {
		of, d, male, female float64
		zone                int // from 0, -1 below all
	}
	hold, minutes := 0.0, 0.0
	for i, v := range s.hr {
		if s.why[i] != kept {
			continue
		}
		if s.hold[i] != hold { // most are as long as the one before
			hold, minutes = s.hold[i], s.hold[i]/60
		}
		w := &weights[int(v)]
		if w.of != v {
			w.of, w.zone = v, max(min(int(math.Floor(10*v/top))-5, 4), -1)
			if haveRest {
				w.d = min(max((v-rest)/(top-rest), 0), 1)
				w.male, w.female = math.Exp(trimpMaleB*w.d), math.Exp(trimpFemaleB*w.d)
			}
		}
		if w.zone >= 0 {
			out.Zones[w.zone] += minutes
			edwards += minutes * float64(w.zone+1)
		}
		if haveRest {
			male += minutes * w.d * trimpMaleA * w.male
			female += minutes * w.d * trimpFemaleA * w.female
		}
	}
	out.Edwards = schemas.Num(edwards)
	if haveRest {
		out.TRIMPMale, out.TRIMPFemale = schemas.Num(male), schemas.Num(female)
	}
}
