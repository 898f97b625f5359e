package rules

import (
	"fmt"

	"canter.example/alerts/assess"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Why is the reason of a decision, for logs and tests.
type Why string

// Reasons.
const (
	// Fires: every condition of the rule held.
	Fires Why = "fires"
	// NotValid: the test is not good, or staff left it out.
	NotValid Why = "test is not valid"
	// OtherFile: a better file of the same run speaks for it.
	OtherFile Why = "a better file of the same run counts"
	// NoNumber: the test has no such number.
	NoNumber Why = "no such number"
	// NoBaseline: fewer earlier tests than the minimum.
	NoBaseline Why = "baseline is building"
	// SmallChange: the change is below its threshold, or the other way.
	SmallChange Why = "change below threshold"
	// Usual: the change is large enough, but this athlete often shows such.
	Usual Why = "z below threshold"
	// TraceUsable and FirstUnusable: the strap rule needs two unusable traces running.
	TraceUsable   Why = "trace is usable"
	FirstUnusable Why = "previous trace was usable"
	// SquadMoved: the change is what the whole session shares.
	SquadMoved Why = "the whole squad moved"
	// Once: a smaller threshold was passed, but not so many tests running.
	Once Why = "not so many tests running"
	// NoDrift: the drift charts are inside their limits.
	NoDrift Why = "no drift"
	// InBand: HRex is inside the band, or was as high before.
	InBand Why = "no new high above the band"
	// BelowHRmax: no reading above the HRmax on record.
	BelowHRmax Why = "below HRmax"
	// Off: the club has switched the rule off.
	Off Why = "rule is off"
	// LeftOut: staff excluded the test and know of it.
	LeftOut Why = "staff excluded the test"
)

// Decision is what one rule made of one test.
type Decision struct {
	Rule schemas.RuleID
	Why  Why
	// Text says what was compared with what, in words and numbers.
	Text string
}

// Before is what is known beside a test and its assessment.
type Before struct {
	// Tests are the assessments of the athlete's earlier valid tests of the same
	// protocol version, each run once, oldest first, as far back as [Lookback].
	Tests []schemas.Assessment
	// BandHigh is the upper end of the protocol's intensity band in % of HRmax,
	// 0 when it has none.
	BandHigh float64
}

// Decide puts every rule for a single test to an assessed test. History is the
// same athlete's other tests of the protocol, in any order. The answer has one
// decision for each rule, in a fixed order: HRex risen, HRR worsened, both,
// trace unusable twice running, and then those of series.go.
func Decide(a schemas.Assessment, o schemas.Outcome, history []schemas.Outcome, before Before, t *club.Thresholds) []Decision {
	hrex, hrr := decideHRex(a, t), decideHRR(a, t)
	why, ok := mayCompare(o, history)
	if !ok {
		hrex, hrr = Decision{schemas.RuleHRexRisen, why, ""}, Decision{schemas.RuleHRRWorsened, why, ""}
	}
	both := Decision{schemas.RuleBoth, hrex.Why, ""}
	if hrex.Why == Fires {
		both.Why = hrr.Why
	}
	if t.Rules.Both.Off {
		both.Why = Off
	}
	if both.Why == Fires {
		both.Text = hrex.Text + "; " + hrr.Text
	}
	ds := []Decision{hrex, hrr, both, decideTrace(o, history)}
	if t.Rules.TraceUnusable.Off {
		ds[3] = Decision{schemas.RuleTraceInvalid, Off, ""}
	}
	for _, d := range decideSeries(a, o, history, before, t) {
		if !ok {
			d.Why, d.Text = why, ""
		}
		ds = append(ds, d)
	}
	return ds
}

// Evaluate returns the rules that fired, in the order of [Decide]. When both
// HRex and HRR fired, that is one rule, and the single ones are not repeated.
func Evaluate(a schemas.Assessment, o schemas.Outcome, history []schemas.Outcome, before Before, t *club.Thresholds) []schemas.FiredRule {
	var fired []schemas.FiredRule
	ds := Decide(a, o, history, before, t)
	both := ds[2].Why == Fires
	for _, d := range ds {
		single := d.Rule == schemas.RuleHRexRisen || d.Rule == schemas.RuleHRRWorsened
		if d.Why == Fires && !(both && single) {
			fired = append(fired, schemas.FiredRule{Rule: d.Rule, Reason: d.Text})
		}
	}
	return fired
}

// mayCompare reports whether the test's numbers may raise an alert.
func mayCompare(o schemas.Outcome, history []schemas.Outcome) (Why, bool) {
	if !o.Valid() {
		return NotValid, false
	}
	if _, better := assess.BetterFile(o, history); better {
		return OtherFile, false
	}
	return Fires, true
}

func decideHRex(a schemas.Assessment, t *club.Thresholds) Decision {
	c := a.Comparison(schemas.MeasureHRex, 0)
	least, unit := t.HRexRiseBPM, "bpm"
	if c != nil && c.Unit == assess.Points {
		least, unit = t.HRexRisePoints, "points"
	}
	return decideChange(schemas.RuleHRexRisen, "HRex", c, schemas.Higher, ruled(t.Rules.HRexRisen, least, t.Z), unit)
}

func decideHRR(a schemas.Assessment, t *club.Thresholds) Decision {
	c := MainHRR(&a)
	name := "HRR"
	if c != nil {
		name = c.Name()
	}
	return decideChange(schemas.RuleHRRWorsened, name, c, schemas.Lower, ruled(t.Rules.HRRWorsened, t.HRRFallBPM, t.Z), "bpm")
}

// MainHRR returns the comparison of the HRR that rules look at, nil when the
// protocol has none: the one at 60 s, which the published thresholds are about
// (FACTS 2.1), else the first the protocol reads.
func MainHRR(a *schemas.Assessment) *schemas.Comparison {
	if c := a.Comparison(schemas.MeasureHRR, 60); c != nil {
		return c
	}
	for i := range a.Comparisons {
		if a.Comparisons[i].Measure == schemas.MeasureHRR {
			return &a.Comparisons[i]
		}
	}
	return nil
}

// ruled returns a rule with the club's general thresholds where it has none of
// its own. A change of its own is in points; see [club.Rule].
func ruled(r club.Rule, change, z float64) club.Rule {
	if r.Change == 0 {
		r.Change = change
	}
	if r.Z == 0 {
		r.Z = z
	}
	return r
}

// judged returns what a comparison is judged by: the deviation from the squad,
// else the change.
func judged(c *schemas.Comparison) (change, z schemas.Number) {
	if c.Deviation.Present() {
		return c.Deviation, c.DeviationZ
	}
	return c.Change, c.Z
}

// decideChange asks whether a number moved to the given side far enough.
func decideChange(id schemas.RuleID, name string, c *schemas.Comparison, side schemas.ComparisonState, r club.Rule, unit string) Decision {
	d := Decision{Rule: id}
	switch {
	case r.Off:
		d.Why = Off
		return d
	case c == nil || c.State == schemas.NoValue:
		d.Why = NoNumber
		return d
	case c.State == schemas.Building || c.N < r.MinTests:
		d.Why = NoBaseline
		d.Text = fmt.Sprintf("building baseline (%d of %d)", c.N, max(c.MinN, r.MinTests))
		return d
	}
	change, z := judged(c)
	r.Z = assess.Needed(c, r.Z)
	d.Text = fmt.Sprintf("%s %s %s from the mean of %d tests (threshold %.3g), z %s (threshold %.3g)",
		name, change.Signed(1), unit, c.N, r.Change, z.Signed(1), r.Z)
	switch {
	case c.Squad.Material:
		d.Text += fmt.Sprintf(", the squad's %s taken off", c.Squad.Size.Signed(1))
	case change.Signed(1) != c.Change.Signed(1):
		d.Text += ", the squad's changes on earlier days taken off"
	}
	switch raw := assess.StateOf(c.Change, c.Z, r.Change, r.Z); {
	case assess.StateOf(change, z, r.Change, r.Z) == side && toSide(c.Change, side):
		d.Why = Fires
	case raw == side:
		d.Why = SquadMoved
	case assess.StateOf(change, z, r.Change, 0) == side:
		d.Why = Usual
	default:
		d.Why = SmallChange
	}
	return d
}

// toSide reports whether a raw change points to a side: a number that only
// looks moved because the squad moved the other way is no news of the athlete.
func toSide(change schemas.Number, side schemas.ComparisonState) bool {
	v, _ := change.Get()
	return side == schemas.Higher && v > 0 || side == schemas.Lower && v < 0
}

// strapCodes are the reasons that point at strap or recorder rather than at
// the athlete or the run.
var strapCodes = map[schemas.ReasonCode]bool{
	schemas.ReasonLowCoverage: true, schemas.ReasonArtefacts: true, schemas.ReasonStrapSlip: true,
	schemas.ReasonStuck: true, schemas.ReasonCadenceLock: true, schemas.ReasonFileDamaged: true,
}

// unusable reports whether a test came to nothing because of its trace.
func unusable(o *schemas.Outcome) bool {
	if o.Quality != schemas.Reject {
		return false
	}
	for _, r := range o.Reasons {
		if strapCodes[r.Code] {
			return true
		}
	}
	return false
}

// decideTrace asks whether this trace and the one before it are unusable.
func decideTrace(o schemas.Outcome, history []schemas.Outcome) Decision {
	d := Decision{Rule: schemas.RuleTraceInvalid, Why: TraceUsable}
	run := unusableRun(o, history)
	switch {
	case o.Staff == schemas.Excluded:
		d.Why = LeftOut
	case len(run) == 1:
		d.Why = FirstUnusable
	case len(run) > 1:
		d.Why = Fires
		d.Text = fmt.Sprintf("trace unusable %d tests running, since %s", len(run), run[0].Start.UTC().Format("2 Jan 2006"))
	}
	return d
}
