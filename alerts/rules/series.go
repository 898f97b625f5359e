package rules

import (
	"fmt"
	"math"
	"time"

	"canter.example/alerts/assess"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// RunningWithin bounds how far apart two tests may be that count as running.
// Tests are weekly to monthly (FACTS 1.2); six weeks leave room for one missed.
const RunningWithin = 42 * 24 * time.Hour

// Lookback is how far before a test the rules of these thresholds look at all:
// hold-offs and tests running.
func Lookback(t *club.Thresholds) time.Duration {
	longest := time.Duration(max(t.Rules.HRexRunning.Tests-1, t.Rules.HRRRunning.Tests-1, 1)) * RunningWithin
	for _, id := range club.Settable {
		if r, ok := t.Rules.Of(id); ok && !r.Off {
			longest = max(longest, r.HoldOff)
		}
	}
	return longest
}

// bandMemory is how long a high HRex is remembered: a year, as baselines are.
const bandMemory = 365 * 24 * time.Hour

// decideSeries puts the rules that look at more than one change to a test:
// HRex and HRR running, HRex and HRR drifting, new high above the band, HRmax
// exceeded, HRex lower or HRR greater.
func decideSeries(a schemas.Assessment, o schemas.Outcome, history []schemas.Outcome, before Before, t *club.Thresholds) []Decision {
	r := &t.Rules
	hrex, hrr := a.Comparison(schemas.MeasureHRex, 0), MainHRR(&a)
	return []Decision{
		decideRunning(schemas.RuleHRexRunning, "HRex", hrex, schemas.Higher, before.Tests, r.HRexRunning, &a),
		decideRunning(schemas.RuleHRRRunning, "HRR", hrr, schemas.Lower, before.Tests, r.HRRRunning, &a),
		decideDrift(schemas.RuleHRexDrift, "HRex", hrex, schemas.DriftUp, r.HRexDrift),
		decideDrift(schemas.RuleHRRDrift, "HRR", hrr, schemas.DriftDown, r.HRRDrift),
		decideBand(&o, hrex, history, before.BandHigh, r.OutsideBand),
		decideHRmax(&o, r.HRmaxExceeded),
		decideEasier(hrex, hrr, t),
	}
}

// off reports whether a rule is switched off, or was never set up.
func off(r club.Rule) bool { return r.Off || r.Urgency == "" }

// inUnit returns a threshold given in points in the comparison's own unit.
func inUnit(c *schemas.Comparison, points float64) float64 {
	if c.Measure == schemas.MeasureHRex && c.Unit == assess.BPM {
		return points * assess.BPMPerPoint
	}
	return points
}

// eachOf is the share of the threshold for tests running that each of them has
// to reach. A third keeps out a single spike beside a usual test; a half, the
// choice before, cost one 4-point step in a hundred at no fewer false alerts.
const eachOf = 1.0 / 3

// decideRunning asks whether a number passed a smaller threshold on average of
// this test and the ones right before it, and a share of it at each. The mean
// of two tests shows a lasting change best.
func decideRunning(id schemas.RuleID, name string, c *schemas.Comparison, side schemas.ComparisonState, before []schemas.Assessment, r club.Rule, a *schemas.Assessment) Decision {
	d := Decision{Rule: id, Why: Once}
	switch {
	case off(r) || r.Tests < 2:
		d.Why = Off
		return d
	case c == nil || c.State == schemas.NoValue:
		d.Why = NoNumber
		return d
	case c.State == schemas.Building || c.N < r.MinTests:
		d.Why = NoBaseline
		return d
	}
	run := []*schemas.Comparison{c}
	for last := a.Start; len(run) < r.Tests; {
		if len(run) > len(before) {
			return d
		}
		b := &before[len(before)-len(run)]
		at := same(b, c)
		if at == nil || last.Sub(b.Start) > RunningWithin {
			return d
		}
		run, last = append(run, at), b.Start
	}
	first := run[len(run)-1]
	r.Z = assess.Needed(first, r.Z)
	var sum, sumZ float64
	for _, at := range run {
		change, z := beside(at, first)
		if assess.StateOf(change, z, inUnit(at, r.Change)*eachOf, r.Z*eachOf) != side {
			return d
		}
		sum, sumZ = sum+change.Or(0)/float64(len(run)), sumZ+z.Or(0)/float64(len(run))
	}
	change, z := schemas.Num(sum), schemas.Num(sumZ)
	if assess.StateOf(change, z, inUnit(c, r.Change), r.Z) != side || !toSide(first.Change, side) || !toSide(c.Change, side) {
		return d
	}
	d.Why = Fires
	d.Text = fmt.Sprintf("%s %s %s over %d tests running (threshold %.3g), z %s (threshold %.3g)",
		name, change.Signed(1), unitWord(c), r.Tests, inUnit(c, r.Change), z.Signed(1), r.Z)
	return d
}

// beside returns the deviation of a test of a run from the baseline of the
// first of them, and its z: a change that lasts must not hide in a baseline
// that it has already raised.
func beside(c, first *schemas.Comparison) (change, z schemas.Number) {
	base, baseZ := judged(first)
	d, ok := base.Get()
	zd, okZ := baseZ.Get()
	now, okNow := level(c).Get()
	then, okThen := level(first).Get()
	if c == first || !ok || !okZ || !okNow || !okThen || zd == 0 {
		return judged(c)
	}
	change = schemas.Num(now - then + d)
	return change, schemas.Num((now - then + d) * zd / d)
}

// level is a value without what the whole squad shared.
func level(c *schemas.Comparison) schemas.Number {
	if c.Squad.Material {
		return c.Value.Minus(c.Squad.Size)
	}
	return c.Value
}

func unitWord(c *schemas.Comparison) string {
	if c.Unit == assess.Points {
		return "points"
	}
	return "bpm"
}

// same returns the comparison of another test that is like c, nil when there
// is none.
func same(a *schemas.Assessment, c *schemas.Comparison) *schemas.Comparison {
	if at := a.Comparison(c.Measure, c.Seconds); at != nil && at.Unit == c.Unit {
		return at
	}
	return nil
}

func decideDrift(id schemas.RuleID, name string, c *schemas.Comparison, side schemas.DriftSide, r club.Rule) Decision {
	d := Decision{Rule: id, Why: NoDrift}
	switch {
	case off(r):
		d.Why = Off
	case c == nil || c.State == schemas.NoValue:
		d.Why = NoNumber
	case c.State == schemas.Building || c.N < r.MinTests:
		d.Why = NoBaseline
	case c.Drift.Side == side:
		sum := c.Drift.High
		if side == schemas.DriftDown {
			sum = c.Drift.Low
		}
		d.Why = Fires
		d.Text = fmt.Sprintf("%s drifting %s since %s: CUSUM %s SD (limit %s)", name, side,
			c.Drift.Since.UTC().Format("2 Jan 2006"), sum.Text(1), c.Drift.Limit.Text(1))
	}
	return d
}

// decideBand asks whether HRex is above the protocol's band and higher than
// ever before by the rule's change: the load may be wrong for this athlete.
// An estimated HRmax is too uncertain for a verdict on the level (FACTS 4.1).
func decideBand(o *schemas.Outcome, c *schemas.Comparison, history []schemas.Outcome, high float64, r club.Rule) Decision {
	d := Decision{Rule: schemas.RuleOutsideBand, Why: InBand}
	switch {
	case off(r):
		d.Why = Off
		return d
	case c == nil || c.State == schemas.NoValue:
		d.Why = NoNumber
		return d
	case c.N < max(r.MinTests, 1):
		d.Why = NoBaseline
		return d
	case high <= 0 || c.Unit != assess.Points || o.HRmax.Source != schemas.HRmaxMeasured || c.Value.Or(0) <= high:
		return d
	}
	highest := math.Inf(-1)
	for _, t := range assess.Earlier(*o, history) {
		if o.Start.Sub(t.Start) > bandMemory {
			continue
		}
		highest = max(highest, t.HRexBPM.Or(math.Inf(-1)))
	}
	top := 100 * highest / o.HRmax.BPM.Or(math.Inf(1))
	if v := c.Value.Or(0); v >= top+r.Change && !c.Squad.Material {
		d.Why = Fires
		d.Text = fmt.Sprintf("HRex %.1f %% of HRmax is above the protocol's band (to %.0f %%) and the highest so far (before: %.1f %%)", v, high, top)
	}
	return d
}

func decideHRmax(o *schemas.Outcome, r club.Rule) Decision {
	d := Decision{Rule: schemas.RuleHRmaxExceeded, Why: BelowHRmax}
	switch {
	case off(r):
		d.Why = Off
	case o.HRmax.Source == schemas.HRmaxMeasured && hasReason(o, schemas.ReasonHRmaxExceeded):
		d.Why = Fires
		d.Text = fmt.Sprintf("heart rate reached %s bpm, above the HRmax of %s on record", o.PeakBPM.Text(0), o.HRmax.BPM.Text(0))
	}
	return d
}

// decideEasier asks for the other side of the change rules. It is for the
// digest: a lower HRex or a faster recovery is no good news by itself (FACTS 3.5).
func decideEasier(hrex, hrr *schemas.Comparison, t *club.Thresholds) Decision {
	r := t.Rules.Easier
	d := Decision{Rule: schemas.RuleEasier, Why: SmallChange}
	if off(r) {
		d.Why = Off
		return d
	}
	lower := decideChange(d.Rule, "HRex", hrex, schemas.Lower, ruled(r, t.HRexRisePoints, t.Z), "points")
	r.Change = 0
	faster := decideChange(d.Rule, "HRR", hrr, schemas.Higher, ruled(r, t.HRRFallBPM, t.Z), "bpm")
	switch {
	case lower.Why == Fires && faster.Why == Fires:
		d.Why, d.Text = Fires, lower.Text+"; "+faster.Text
	case lower.Why == Fires:
		return lower
	case faster.Why == Fires:
		return faster
	}
	return d
}

func hasReason(o *schemas.Outcome, code schemas.ReasonCode) bool {
	for _, r := range o.Reasons {
		if r.Code == code {
			return true
		}
	}
	return false
}
