package engine_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"canter.example/schemas"
	"canter.example/scorer/engine"
)

// stretch is some minutes at one heart rate; 0 is no reading.
type stretch struct{ minutes, bpm int }

func recording(parts ...stretch) *schemas.Trace {
	tr := &schemas.Trace{Start: time.Date(2026, 3, 9, 10, 0, 0, 0, time.UTC)}
	second := 0
	for _, p := range parts {
		for range 60 * p.minutes {
			tr.Samples = append(tr.Samples, schemas.Sample{At: time.Duration(second) * time.Second, HR: float32(p.bpm)})
			second++
		}
	}
	return tr
}

func athlete(sex schemas.Sex) *schemas.Athlete {
	return &schemas.Athlete{
		ID: "a", Sex: sex, HRmax: schemas.HRmax{BPM: schemas.Num(200), Source: schemas.HRmaxMeasured}, HRrest: schemas.Num(50),
	}
}

func near(t *testing.T, what string, got schemas.Number, want, within float64) {
	t.Helper()
	if v, ok := got.Get(); !ok || math.Abs(v-want) > within {
		t.Errorf("%s %s, want %.3f", what, got.Text(3), want)
	}
}

// Banister 1991 by hand (FACTS 2.10, from memory): 60 min at 140 bpm between
// 50 and 200 is 0.6 of the reserve, 60 × 0.6 × 0.64 exp(1.92 × 0.6) = 72.91 for
// a man and 60 × 0.6 × 0.86 exp(1.67 × 0.6) = 84.33 for a woman. 140 of 200 is
// the start of Edwards' (1993) third zone: 3 × 60.
func TestLoadOfAnEvenHour(t *testing.T) {
	l := engine.Load(recording(stretch{60, 140}), athlete(schemas.Male), 2026)
	near(t, "men's TRIMP", l.TRIMPMale, 72.91, 0.005)
	near(t, "women's TRIMP", l.TRIMPFemale, 84.33, 0.005)
	near(t, "the athlete's", l.TRIMP, l.TRIMPMale.Or(0), 0)
	near(t, "Edwards", l.Edwards, 180, 0.001)
	near(t, "mean HR", l.MeanHR, 140, 1e-9)
	if l.Coverage != 1 || math.Abs(l.Minutes-60) > 1e-9 || math.Abs(l.Zones[2]-60) > 1e-9 || len(l.Reasons) != 0 {
		t.Errorf("%+v", l)
	}
	near(t, "a woman's", engine.Load(recording(stretch{60, 140}), athlete(schemas.Female), 2026).TRIMP, 84.33, 0.01)
}

func TestLoadSaysWhatItLacks(t *testing.T) {
	tr := recording(stretch{20, 130})
	for name, c := range map[string]struct {
		change                 func(*schemas.Athlete)
		trimp, either, edwards bool
		code                   schemas.ReasonCode
	}{
		"no sex":             {func(a *schemas.Athlete) { a.Sex = "" }, false, true, true, schemas.ReasonHRrestUnknown},
		"no HRrest":          {func(a *schemas.Athlete) { a.HRrest = schemas.Number{} }, false, false, true, schemas.ReasonHRrestUnknown},
		"HRrest above HRmax": {func(a *schemas.Athlete) { a.HRrest = schemas.Num(201) }, false, false, true, schemas.ReasonHRrestUnknown},
		"no HRmax":           {func(a *schemas.Athlete) { a.HRmax = schemas.HRmax{} }, false, false, false, schemas.ReasonHRmaxUnknown},
		"HRmax from age":     {func(a *schemas.Athlete) { a.HRmax, a.BirthYear = schemas.HRmax{}, 2000 }, true, true, true, schemas.ReasonHRmaxEstimated},
	} {
		a := athlete(schemas.Male)
		c.change(a)
		l := engine.Load(tr, a, 2026)
		if l.TRIMP.Present() != c.trimp || l.TRIMPMale.Present() != c.either || l.TRIMPFemale.Present() != c.either || l.Edwards.Present() != c.edwards {
			t.Errorf("%s: TRIMP %s (%s, %s), Edwards %s", name, l.TRIMP.Text(1), l.TRIMPMale.Text(1), l.TRIMPFemale.Text(1), l.Edwards.Text(1))
		}
		if !slices.ContainsFunc(l.Reasons, func(r schemas.Reason) bool { return r.Code == c.code }) {
			t.Errorf("%s: reasons %v without %s", name, l.Reasons, c.code)
		}
	}
	if l := engine.Load(tr, nil, 2026); l.TRIMP.Present() || l.Edwards.Present() || !l.MeanHR.Present() {
		t.Errorf("of nobody: %+v", l)
	}
	for name, empty := range map[string]*schemas.Trace{"no samples": {}, "no heart rate": recording(stretch{5, 0})} {
		if l := engine.Load(empty, athlete(schemas.Male), 2026); l.Minutes != 0 || l.TRIMP.Present() || l.Edwards.Present() || len(l.Reasons) == 0 {
			t.Errorf("%s: %+v", name, l)
		}
	}
}

// Time without a reading adds nothing and lowers the coverage.
func TestLoadOfAGapIsNone(t *testing.T) {
	whole := engine.Load(recording(stretch{20, 140}, stretch{20, 140}), athlete(schemas.Male), 2026)
	gap := engine.Load(recording(stretch{20, 140}, stretch{10, 0}, stretch{20, 140}), athlete(schemas.Male), 2026)
	near(t, "with the gap", gap.TRIMP, whole.TRIMP.Or(0), 0.2)
	if gap.Coverage < 0.79 || gap.Coverage > 0.81 || !slices.ContainsFunc(gap.Reasons, func(r schemas.Reason) bool { return r.Code == schemas.ReasonLowCoverage }) {
		t.Errorf("coverage %.3f, reasons %v", gap.Coverage, gap.Reasons)
	}
}

// Zones share the valid time above half of HRmax, and the sums follow them; a
// longer or harder session is never the lighter one.
func TestLoadAddsUp(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		bpm := rapid.IntRange(60, 199).Draw(rt, "bpm")
		minutes := rapid.IntRange(2, 40).Draw(rt, "minutes")
		l := engine.Load(recording(stretch{minutes, bpm}), athlete(schemas.Male), 2026)
		sum, weighted := 0.0, 0.0
		for i, z := range l.Zones {
			sum, weighted = sum+z, weighted+z*float64(i+1)
		}
		if want := map[bool]float64{true: l.Minutes}[bpm >= 100]; math.Abs(sum-want) > 1e-9 || math.Abs(l.Edwards.Or(-1)-weighted) > 1e-9 {
			rt.Fatalf("zones %v, %f min, Edwards %s", l.Zones, l.Minutes, l.Edwards.Text(3))
		}
		longer := engine.Load(recording(stretch{minutes + 1, bpm}), athlete(schemas.Male), 2026)
		harder := engine.Load(recording(stretch{minutes, bpm + 1}), athlete(schemas.Male), 2026)
		if longer.TRIMP.Or(0) <= l.TRIMP.Or(0) || harder.TRIMP.Or(0) <= l.TRIMP.Or(0) || harder.Edwards.Or(0) < l.Edwards.Or(0) {
			rt.Fatalf("TRIMP %s, longer %s, harder %s", l.TRIMP.Text(3), longer.TRIMP.Text(3), harder.TRIMP.Text(3))
		}
	})
}
