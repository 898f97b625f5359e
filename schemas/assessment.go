package schemas

import (
	"strconv"
	"time"
)

// Measure is an outcome that is followed over time.
type Measure string

// Measures. HRex is followed in points of %HRmax where HRmax is known, else
// in bpm; HRR in bpm.
const (
	MeasureHRex Measure = "hrex"
	MeasureHRR  Measure = "hrr"
)

// Name is what people call a measure: "HRex", or HRR with its seconds, "HRR60".
func (m Measure) Name(seconds int) string {
	if m == MeasureHRR {
		return "HRR" + strconv.Itoa(seconds)
	}
	return "HRex"
}

// ComparisonState is how a number stands against the athlete's own history.
type ComparisonState string

// States of a comparison.
const (
	// Building: fewer valid earlier tests than the minimum; no verdict.
	Building ComparisonState = "building"
	// Inside: the change is within what this athlete usually shows.
	Inside ComparisonState = "inside"
	// Higher and Lower: the change passed the thresholds.
	Higher ComparisonState = "higher"
	Lower  ComparisonState = "lower"
	// NoValue: the test has no such number.
	NoValue ComparisonState = "no value"
)

// Comparison sets one number of a test beside the athlete's earlier valid
// tests of the same protocol version. The test itself is never among them.
type Comparison struct {
	Measure Measure `json:"measure"`
	// Seconds is the delay of an HRR, 0 for HRex.
	Seconds int `json:"seconds,omitempty"`
	// Unit is "% points of HRmax" or "bpm": what Value and changes are in.
	Unit  string          `json:"unit"`
	Value Number          `json:"value"`
	State ComparisonState `json:"state"`

	// Previous valid test: its value, the change from it in Unit and in
	// percent of it, and when it was.
	Previous     Number    `json:"previous"`
	PrevChange   Number    `json:"prev_change"`
	PrevPct      Number    `json:"prev_pct"`
	PreviousTime time.Time `json:"previous_time,omitzero"`

	// Baseline: N earlier tests from From to To, with mean, their own SD, the
	// SD that was used, the change from the mean in Unit and percent, and z.
	N        int       `json:"n"`
	MinN     int       `json:"min_n"`
	Basis    Basis     `json:"basis,omitempty"`
	From     time.Time `json:"from,omitzero"`
	To       time.Time `json:"to,omitzero"`
	Mean     Number    `json:"mean"`
	SD       Number    `json:"sd"`
	SDUsed   Number    `json:"sd_used"`
	SDMethod string    `json:"sd_method,omitempty"`
	Change   Number    `json:"change"`
	Pct      Number    `json:"pct"`
	Z        Number    `json:"z"`

	// PredLow and PredHigh bound where the next test of an unchanged athlete
	// falls with the stated probability (t prediction interval).
	PredLow  Number `json:"pred_low"`
	PredHigh Number `json:"pred_high"`
	// TE, SWC and MDC in Unit: typical error, smallest worthwhile change,
	// minimal detectable change.
	TE  Number `json:"te"`
	SWC Number `json:"swc"`
	MDC Number `json:"mdc"`
	// ProbChange is the probability (0 to 1) that the true change is beyond
	// SWC in the observed direction.
	ProbChange Number `json:"prob_change"`

	// Squad is what the whole session shared in this number.
	Squad SquadShift `json:"squad"`
	// Deviation is Change with the squad's shifts taken off, this session's and
	// those of the baseline's sessions, as far as they are more than a trifle;
	// DeviationZ is its z. State is judged by these two. Without such shifts
	// they equal Change and Z, but for the spread they are held against.
	Deviation  Number `json:"deviation"`
	DeviationZ Number `json:"deviation_z"`

	// Drift is where the slow-drift charts stand after this test.
	Drift Drift `json:"drift"`
}

// Name is what people call the number that is compared.
func (c *Comparison) Name() string { return c.Measure.Name(c.Seconds) }

// Basis is what a baseline is made of.
type Basis string

// Kinds of baseline.
const (
	// BasisRolling: the last tests before this one.
	BasisRolling Basis = "rolling"
	// BasisReference: the tests of a fixed block, such as the first weeks of
	// pre-season.
	BasisReference Basis = "reference block"
	// BasisReturn: the last tests since a marked return from injury.
	BasisReturn Basis = "since return"
)

// SquadShift is how far the tests of a session lie together from the squad's
// usual session in one number.
type SquadShift struct {
	// State is "estimated", or why there is no estimate.
	State string `json:"state,omitempty"`
	// Size in the comparison's unit, positive when higher than usual, with its
	// standard error, and the number of athletes it was estimated from.
	Size Number `json:"size"`
	SE   Number `json:"se"`
	N    int    `json:"n"`
	// Material is true when the whole interval is beyond what the club calls a
	// trifle: then individual verdicts leave the shift out.
	Material bool `json:"material,omitempty"`
}

// DriftSide is the side to which a number drifts.
type DriftSide string

// Sides of a drift; NoDrift when neither sum has passed its limit.
const (
	NoDrift   DriftSide = ""
	DriftUp   DriftSide = "up"
	DriftDown DriftSide = "down"
)

// Drift is the state of an athlete's slow-drift charts after a test, made of
// the deviations of the last tests, each against those before it.
type Drift struct {
	// N tests are on the charts, this one included.
	N int `json:"n"`
	// EWMA in SDs of a single test, with the half-width of its limits.
	EWMA      Number `json:"ewma"`
	EWMALimit Number `json:"ewma_limit"`
	// High and Low are the two sums of the CUSUM in SDs, and Limit the h that
	// either has to pass.
	High  Number `json:"high"`
	Low   Number `json:"low"`
	Limit Number `json:"limit"`
	// Side is where a sum stands beyond its limit now, Since the first test of
	// the unbroken climb that led there.
	Side  DriftSide `json:"side,omitempty"`
	Since time.Time `json:"since,omitzero"`
}

// Assessment is a test seen beside what was known before it.
type Assessment struct {
	TestID   TestID    `json:"test_id"`
	Athlete  string    `json:"athlete"`
	Squad    string    `json:"squad"`
	Protocol string    `json:"protocol"`
	Session  string    `json:"session"`
	Start    time.Time `json:"start"`
	// Comparisons: HRex first, then each HRR.
	Comparisons []Comparison `json:"comparisons"`
	// Fired are the rules that this test set off.
	Fired []FiredRule `json:"fired,omitempty"`
	// Version is that of the event that caused this assessment.
	Version Version `json:"version"`
}

// Comparison returns the comparison of a measure, nil when there is none.
func (a *Assessment) Comparison(m Measure, seconds int) *Comparison {
	for i := range a.Comparisons {
		if a.Comparisons[i].Measure == m && (m == MeasureHRex || a.Comparisons[i].Seconds == seconds) {
			return &a.Comparisons[i]
		}
	}
	return nil
}

// RuleID names a rule.
type RuleID string

// Rules.
const (
	RuleHRexRisen    RuleID = "hrex-risen"
	RuleHRRWorsened  RuleID = "hrr-worsened"
	RuleBoth         RuleID = "hrex-risen-and-hrr-worsened"
	RuleTestMissing  RuleID = "test-missing"
	RuleFileParked   RuleID = "file-parked"
	RuleTraceInvalid RuleID = "trace-unusable"
	// RuleHRexRunning and RuleHRRRunning: HRex risen or HRR worsened by a smaller threshold, tests running.
	RuleHRexRunning RuleID = "hrex-risen-tests-running"
	RuleHRRRunning  RuleID = "hrr-worsened-tests-running"
	// RuleHRexDrift and RuleHRRDrift: many small changes to one side.
	RuleHRexDrift RuleID = "hrex-drift"
	RuleHRRDrift  RuleID = "hrr-drift"
	// RuleOutsideBand: HRex at a new high, above the protocol's intensity band.
	RuleOutsideBand RuleID = "above-intensity-band"
	// RuleHRmaxExceeded: a reading above the HRmax that the club has noted.
	RuleHRmaxExceeded RuleID = "hrmax-exceeded"
	// RuleSquadEffect: the whole session moved together.
	RuleSquadEffect RuleID = "squad-effect"
	// RuleEasier: HRex lower or HRR greater, for the digest alone; neither is called good by itself.
	RuleEasier RuleID = "hrex-lower-or-hrr-greater"
)

// FiredRule is a rule that fired, with the threshold it compared against and
// one sentence that says what was seen.
type FiredRule struct {
	Rule RuleID `json:"rule"`
	// Reason says what was compared with what, in words and numbers.
	Reason string `json:"reason"`
}
