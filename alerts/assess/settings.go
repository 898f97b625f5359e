package assess

import (
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Settings are the numbers an assessment depends on. [From] makes them from
// the club file; the zero value is of no use.
type Settings struct {
	// MinTests are needed for a verdict; the baseline is the last MaxTests
	// within MaxAge before the test.
	MinTests int
	MaxTests int
	MaxAge   time.Duration

	// HRexPoints (points of %HRmax), HRexBPM (where HRmax is unknown) and
	// HRRBPM are the least change from the baseline mean, and Z the least |z|,
	// that together make a number Higher or Lower.
	HRexPoints float64
	HRexBPM    float64
	HRRBPM     float64
	Z          float64

	// Typical errors: HRex in points of %HRmax and in bpm, HRR in bpm.
	HRexTE    float64
	HRexTEBPM float64
	HRRTE     float64

	// TEWeight is how many degrees of freedom the typical error counts for
	// when there is no squad to borrow a spread from.
	TEWeight float64
	// Level is the probability of the prediction interval and of the MDC.
	Level float64

	// Basis is what baselines are made of; Reference bounds the block when it
	// is a fixed one. A marked return from injury begins any baseline anew.
	Basis     schemas.Basis
	Reference schemas.Period

	// SquadPoints, SquadBPM (HRex without HRmax) and SquadHRR are the largest
	// shifts of a whole session that count as a trifle.
	SquadPoints float64
	SquadBPM    float64
	SquadHRR    float64

	// DriftTests are on the drift charts. DriftK and DriftH are the CUSUM's
	// allowance and limit in SDs, DriftLambda the EWMA's weight and DriftL the
	// width of its limits in standard errors.
	DriftTests  int
	DriftK      float64
	DriftH      float64
	DriftLambda float64
	DriftL      float64

	// NoSquad and NoPool leave the squad effect and the squad's spread out, for
	// simulations that ask what they are worth.
	NoSquad bool
	NoPool  bool
}

const (
	// teWeight 4: the typical error weighs as much as the spread of five
	// tests, so that it steadies a baseline of 4 (3 degrees of freedom) and
	// is outvoted by one of 8 (7). A choice of ours; Smyth's estimate replaces
	// it as soon as the squad's own data allow.
	teWeight = 4
	// level 0.95 is the level of the MDC table and of the prediction intervals
	// in FACTS 2.8 and 5g.
	level = 0.95
	// BPMPerPoint turns points of %HRmax into bpm for athletes whose HRmax is
	// unknown, at an HRmax of 190 bpm. A typical error of 1.6 points becomes
	// 3.0 bpm, beside the 3 ± 1 bpm of Lamberts & Lambert 2009 (FACTS 2.6).
	BPMPerPoint = 1.9
	// driftTests 16: twice the usual baseline, long enough for a reference and
	// a slow climb after it, short enough that last season stays out. Ours.
	driftTests = 16
	// ewmaLambda and ewmaL are those of the NIST example (FACTS 5a).
	ewmaLambda = 0.3
	ewmaL      = 3
)

// From returns the settings that follow from a club's thresholds. A minimum
// below 2 is raised to 2: one test has no spread.
func From(t club.Thresholds) Settings {
	return Settings{
		MinTests:   max(t.MinBaseline, 2),
		MaxTests:   max(t.BaselineTests, t.MinBaseline, 2),
		MaxAge:     t.BaselineAge,
		HRexPoints: t.HRexRisePoints,
		HRexBPM:    t.HRexRiseBPM,
		HRRBPM:     t.HRRFallBPM,
		Z:          t.Z,
		HRexTE:     t.HRexTE,
		HRexTEBPM:  t.HRexTE * BPMPerPoint,
		HRRTE:      t.HRRTE,
		TEWeight:   teWeight,
		Level:      level,

		Basis: t.Baseline, Reference: t.Reference,
		SquadPoints: t.SquadPoints, SquadBPM: t.SquadPoints * BPMPerPoint, SquadHRR: t.SquadHRR,
		DriftTests: driftTests, DriftK: t.DriftShift / 2, DriftH: CUSUMLimit(t.DriftShift/2, t.DriftRunLength),
		DriftLambda: ewmaLambda, DriftL: ewmaL,
	}
}
