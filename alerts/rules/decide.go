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

// Decide puts every rule for a single test to an assessed test. History is the
// same athlete's other tests of the protocol, in any order. The answer has one
// decision for each rule, in a fixed order: HRex risen, HRR worsened, both,
// trace unusable twice running.
func Decide(a schemas.Assessment, o schemas.Outcome, history []schemas.Outcome, t *club.Thresholds) []Decision {
	hrex, hrr := decideHRex(a, t), decideHRR(a, t)
	if why, ok := mayCompare(o, history); !ok {
		hrex, hrr = Decision{schemas.RuleHRexRisen, why, ""}, Decision{schemas.RuleHRRWorsened, why, ""}
	}
	both := Decision{schemas.RuleBoth, hrex.Why, ""}
	if hrex.Why == Fires {
		both.Why = hrr.Why
	}
	if both.Why == Fires {
		both.Text = hrex.Text + "; " + hrr.Text
	}
	return []Decision{hrex, hrr, both, decideTrace(o, history)}
}

// Evaluate returns the rules that fired, in the order of [Decide]. When both
// HRex and HRR fired, that is one rule, and the single ones are not repeated.
func Evaluate(a schemas.Assessment, o schemas.Outcome, history []schemas.Outcome, t *club.Thresholds) []schemas.FiredRule {
	var fired []schemas.FiredRule
	ds := Decide(a, o, history, t)
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
	return decideChange(schemas.RuleHRexRisen, "HRex", c, schemas.Higher, least, t.Z, unit)
}

func decideHRR(a schemas.Assessment, t *club.Thresholds) Decision {
	c := MainHRR(&a)
	name := "HRR"
	if c != nil {
		name = fmt.Sprintf("HRR%d", c.Seconds)
	}
	return decideChange(schemas.RuleHRRWorsened, name, c, schemas.Lower, t.HRRFallBPM, t.Z, "bpm")
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

// decideChange asks whether a number moved to the given side far enough.
func decideChange(rule schemas.RuleID, name string, c *schemas.Comparison, side schemas.ComparisonState, least, z float64, unit string) Decision {
	d := Decision{Rule: rule}
	switch {
	case c == nil || c.State == schemas.NoValue:
		d.Why = NoNumber
		return d
	case c.State == schemas.Building:
		d.Why = NoBaseline
		d.Text = fmt.Sprintf("building baseline (%d of %d)", c.N, c.MinN)
		return d
	}
	d.Text = fmt.Sprintf("%s %s %s from the mean of %d tests (threshold %.3g), z %s (threshold %.3g)",
		name, c.Change.Signed(1), unit, c.N, least, c.Z.Signed(1), z)
	switch {
	case assess.StateOf(c.Change, c.Z, least, z) == side:
		d.Why = Fires
	case assess.StateOf(c.Change, c.Z, least, 0) == side:
		d.Why = Usual
	default:
		d.Why = SmallChange
	}
	return d
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
		d.Text = fmt.Sprintf("trace unusable %d tests running, since %s", len(run), run[0].Start.UTC().Format("2006-01-02"))
	}
	return d
}
