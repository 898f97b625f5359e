package engine

import (
	"math"
	"testing"
	"time"

	"canter.example/schemas"
)

// TestLoadOfAnEvenEffort: 30 min at 150 bpm with HRrest 50 and HRmax 200 is a
// ΔHR of 2/3. TRIMP = minutes × ΔHR × 0.64 exp(1.92 ΔHR) for men and 0.86
// exp(1.67 ΔHR) for women (Banister 1991; FACTS 2.10); 75 % of HRmax is
// Edwards' zone 3.
func TestLoadOfAnEvenEffort(t *testing.T) {
	tr := traceOf(1800, 1, func(float64) float64 { return 150 })
	a := &schemas.Athlete{Sex: schemas.Male, HRmax: measured(200), HRrest: schemas.Num(50)}
	l := Load(tr, a, 2026)
	d := 2.0 / 3
	male, female := 30*d*0.64*math.Exp(1.92*d), 30*d*0.86*math.Exp(1.67*d)
	near(t, "TRIMP, men", l.TRIMPMale, male, 1e-6)
	near(t, "TRIMP, women", l.TRIMPFemale, female, 1e-6)
	near(t, "TRIMP", l.TRIMP, male, 1e-6)
	near(t, "Edwards", l.Edwards, 90, 1e-9)
	near(t, "mean HR", l.MeanHR, 150, 1e-9)
	if l.Coverage != 1 || math.Abs(l.Minutes-30) > 1e-9 || l.Duration != 30*time.Minute || math.Abs(l.Zones[2]-30) > 1e-9 {
		t.Errorf("%+v", l)
	}
	a.Sex = schemas.Female
	near(t, "TRIMP", Load(tr, a, 2026).TRIMP, female, 1e-6)
}

func TestEdwardsZones(t *testing.T) {
	for _, c := range []struct {
		bpm  float64
		zone int // 0 for none
	}{{99, 0}, {100, 1}, {119, 1}, {120, 2}, {140, 3}, {159, 3}, {160, 4}, {180, 5}, {200, 5}, {205, 5}} {
		tr := traceOf(600, 1, func(float64) float64 { return c.bpm })
		l := Load(tr, &schemas.Athlete{HRmax: measured(200)}, 2026)
		near(t, "Edwards", l.Edwards, 10*float64(c.zone), 1e-9)
		if l.TRIMPMale.Present() || len(l.Reasons) == 0 {
			t.Errorf("TRIMP without HRrest: %+v", l)
		}
	}
}

func TestLoadCountsValidTimeOnly(t *testing.T) {
	tr := traceOf(1800, 1, func(t float64) float64 {
		if t >= 600 && t < 1200 {
			return 0
		}
		return 150
	})
	l := Load(tr, &schemas.Athlete{HRmax: measured(200)}, 2026)
	if math.Abs(l.Coverage-2.0/3) > 1e-9 || math.Abs(l.Minutes-20) > 1e-9 {
		t.Errorf("coverage %v, %v min", l.Coverage, l.Minutes)
	}
	near(t, "Edwards", l.Edwards, 60, 1e-9)
	if l.Reasons[0].Code != schemas.ReasonLowCoverage {
		t.Errorf("reasons %v", l.Reasons)
	}
}

func TestLoadSaysWhatIsMissing(t *testing.T) {
	tr := traceOf(600, 1, func(float64) float64 { return 150 })
	for _, c := range []struct {
		name string
		tr   *schemas.Trace
		a    *schemas.Athlete
		code schemas.ReasonCode
	}{
		{"no samples", &schemas.Trace{}, &schemas.Athlete{HRmax: measured(200)}, schemas.ReasonLowCoverage},
		{"no heart rate", traceOf(60, 1, func(float64) float64 { return 0 }), &schemas.Athlete{HRmax: measured(200)}, schemas.ReasonLowCoverage},
		{"no athlete", tr, nil, schemas.ReasonHRmaxUnknown},
		{"no HRmax", tr, &schemas.Athlete{}, schemas.ReasonHRmaxUnknown},
		{"an estimate", tr, &schemas.Athlete{BirthYear: 2000}, schemas.ReasonHRmaxEstimated},
	} {
		found := false
		for _, r := range Load(c.tr, c.a, 2026).Reasons {
			found = found || r.Code == c.code
		}
		if !found {
			t.Errorf("%s: no reason %s", c.name, c.code)
		}
	}
}
