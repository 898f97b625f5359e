package engine

import (
	"fmt"
	"math"

	"canter.example/schemas"
)

// Limits of judging. Where no source is named they are choices of this
// package, made so that a doubtful test is shown to people instead of being
// believed.
const (
	// leastConfidence that a start is within 5 s, for a good test.
	leastConfidence = 0.80
	// mostDropped: share of the test's recorded readings that may be artefacts.
	mostDropped = 0.20
	// mostBend: how far (bpm) the last window may be from what the test before
	// it led to expect, or parts of the test from the response.
	mostBend = 4.0
	// leastStep (bpm) and leastStepGain (log likelihood) make a change of level
	// inside the test count as sudden.
	leastStep = 3.5
	// stepsBefore: a step within this time before the test (s) leaves its
	// level in doubt.
	stepsBefore = 300
	// slippedBefore: seconds before the test in which longSlip seconds dropped
	// between two jumps leave the level after them in doubt.
	slippedBefore = 120
	longSlip      = 15
	// mostLevelCost of a good test; see levelCost.
	mostLevelCost = 2.0
	// mostFall and mostClimb: change of heart rate in bpm/s over the last minute
	// of a steady run.
	mostFall = 0.10
	// stillClimbs: faster than this (bpm/s) it has not come to a level.
	stillClimbs = 0.15
	mostClimb   = 0.25
	// mostScatter about the response (bpm), over the trace's own wiggle.
	mostScatter = 2.0
	mostMisfit  = 4.0
	// leastStepGain is the gain in log likelihood that goes with leastStep.
	leastStepGain = 6.5
	// leastStepT: standard errors of the change where the step is, seen from
	// near: a response that the model does not follow is no step.
	leastStepT = 3.0
	// mostHRexSE and mostHRRSE: standard errors above which the numbers are
	// doubtful: the typical errors of the measures are about 2.4 and 3.4 bpm
	// (1.2 points of a HRmax of 200, Scott et al. 2018; FACTS 2.1).
	mostHRexSE = 2.0
	mostHRRSE  = 3.4
	// mostSpeedOff and mostSpeedCV: how far the mean speed may be from the
	// protocol's, and how much it may vary (%).
	mostSpeedOff = 6.0
	mostSpeedCV  = 12.0
	// offBand: points of %HRmax that HRex may be outside the intensity band
	// before the test is doubtful.
	offBand = 10.0
	// Points of %HRmax below the band from where on a run is rather a jog that
	// happens to be as long as the test: lighterAlone when only heart rate calls
	// it the test, lighter when a planned time, a lap mark or an even speed do.
	// Three and four typical errors of 1.2 points (Scott et al. 2018; FACTS 2.1).
	// Team-mates and the protocol's own speed say that it was the test.
	lighterAlone, lighter = 3.6, 4.8
)

// verdict collects reasons and the worst quality that they call for.
type verdict struct {
	quality schemas.Quality
	reasons []schemas.Reason
}

func (v *verdict) add(q schemas.Quality, code schemas.ReasonCode, format string, args ...any) {
	v.reasons = append(v.reasons, schemas.Reason{Code: code, Text: fmt.Sprintf(format, args...)})
	if q == schemas.Reject || v.quality == schemas.Good {
		v.quality = q
	}
}

// remark notes something that leaves the quality as it is.
func (v *verdict) remark(code schemas.ReasonCode, format string, args ...any) {
	v.reasons = append(v.reasons, schemas.Reason{Code: code, Text: fmt.Sprintf(format, args...)})
}

// judge sets the quality of a measured test and its reasons.
func (w *work) judge(o *schemas.Outcome, m *measures, c *candidate, rank, of int, h *hints, req *Request) {
	v := verdict{quality: schemas.Good}
	w.judgeStart(&v, c, rank, of, h)
	w.judgeTrace(&v, o, m, c, req.Protocol)
	w.judgeShape(&v, m, c)
	judgeRecovery(&v, m, req.Protocol)
	w.judgeFile(&v, m, req)
	loadKept := judgeLoad(&v, m, req.Protocol)
	judgeLevel(&v, o, m, c, req, loadKept)
	o.Quality, o.Reasons = v.quality, v.reasons
	if c.source != schemas.StartByHand && !c.borrowed {
		o.StartConfidence = doubted(o.StartConfidence, v.quality)
	}
}

// mostDoubts that a test may raise when nothing but heart rate says that it is
// one: with more it is training that looks a little like it.
const mostDoubts = 3

// doubts counts the kinds of doubt about a test.
func doubts(o *schemas.Outcome) int {
	kinds := map[schemas.ReasonCode]bool{}
	if o.Quality == schemas.Good {
		return 0
	}
	for _, r := range o.Reasons {
		switch r.Code {
		case schemas.ReasonStartUncertain, schemas.ReasonNotSteady, schemas.ReasonStrapSlip,
			schemas.ReasonRecoveryBroken, schemas.ReasonLoadNotKept, schemas.ReasonCutShort:
			kinds[r.Code] = true
		default:
		}
	}
	return len(kinds)
}

// doubtedOdds is what the odds of a start are worth where anything at all about
// the test is doubtful, and where it is rejected: then it may be no test at all.
// On simulated sessions starts of good tests were right as often as their
// confidence said, those of doubtful tests far less often: see
// testdata/reliability.txt.
var doubtedOdds = map[schemas.Quality]float64{schemas.Good: 1, schemas.Check: 0.15, schemas.Reject: 0.05}

func doubted(p float64, q schemas.Quality) float64 {
	odds := doubtedOdds[q] * p / max(1-p, 1e-9)
	return odds / (1 + odds)
}

func (w *work) judgeStart(v *verdict, c *candidate, rank, of int, h *hints) {
	f := &w.finder
	by := c.source == schemas.StartByHand
	if c.length < f.profile.length {
		q := schemas.Reject
		if float64(c.length) >= 0.85*float64(f.profile.length) {
			q = schemas.Check
		}
		v.add(q, schemas.ReasonCutShort, "stopped after %s of %s", mmss(c.length), mmss(f.profile.length))
	}
	if by && c.fitted != 0 && math.Abs(float64(c.fitted-c.start)) > 6 && c.evOn+c.evOff > 25 {
		v.remark(schemas.ReasonStartUncertain, "heart rate itself suggests a start %d s %s the one given by hand",
			abs(c.fitted-c.start), earlierLater(c.fitted-c.start))
	}
	if !by {
		switch {
		case c.borrowed:
			v.add(schemas.Check, schemas.ReasonStartUncertain, "the start is team-mates': this trace does not show its own")
		case c.confidence() < leastConfidence:
			v.add(schemas.Check, schemas.ReasonStartUncertain,
				"the start is uncertain: probability of being within 5 s is %.2f", c.confidence())
		case !(c.seesOn() && c.seesOff()) && !c.vouched():
			which := "beginning"
			if c.seesOn() {
				which = "end"
			}
			v.add(schemas.Check, schemas.ReasonStartUncertain,
				"heart rate shows only one edge of the test; its %s is not seen, so it may have been longer or shorter", which)
		case !c.clearEdges() && !c.vouched():
			v.add(schemas.Check, schemas.ReasonStartUncertain, "heart rate hardly shows where the run begins or ends")
		case c.alone() && c.length == f.profile.length && !c.stands(h.posture):
			v.add(schemas.Check, schemas.ReasonStartUncertain,
				"nothing but heart rate says that this was the test, and after it heart rate falls by only %.0f bpm: a change of pace rather than the end of the run", c.off.fall())
		case c.goesOn && !c.lap && !c.team:
			v.add(schemas.Check, schemas.ReasonStartUncertain, "the run seems longer than the test")
		}
	}
	if !c.seesOn() && !c.borrowed {
		v.remark(schemas.ReasonHighAtStart, "heart rate was already near its level at the start (%.0f bpm)", c.on.h0)
	}
	if c.rival > 0 {
		v.add(schemas.Check, schemas.ReasonSecondTest, "another run as long as the test, at about %.0f bpm, fits as well: say which it is", c.rival)
	}
	if c.repeated {
		v.add(schemas.Check, schemas.ReasonSecondTest, "several efforts of this length are in the trace; this looks like intervals")
	} else if of > 1 && !by {
		if c.tied {
			v.add(schemas.Check, schemas.ReasonSecondTest, "two efforts like the test are in the trace and fit about as well: say which it is")
		} else if rank > 0 {
			v.add(schemas.Check, schemas.ReasonSecondTest, "a second effort like the test is in the same trace; the other one fits better")
		} else {
			v.remark(schemas.ReasonSecondTest, "a second effort like the test is in the same trace")
		}
	}
	if h.planned && !by {
		if off := f.grid.time(c.start) - h.around; math.Abs(off) > h.within {
			v.add(schemas.Check, schemas.ReasonClock, "starts %s %s the planned time: another run, or the device's clock is off",
				mmss(int(math.Abs(off))), earlierLater(int(off)))
		}
	}
}

// when words a time relative to the start of the test.
func when(t float64) string {
	if t < 0 {
		return mmss(int(-t)) + " before the test"
	}
	return mmss(int(t)) + " into the test"
}

func earlierLater(d int) string {
	if d < 0 {
		return "before"
	}
	return "after"
}

func abs(x int) int { return max(x, -x) }

// judgeTrace looks at what cleaning dropped, and at sudden steps that it left.
func (w *work) judgeTrace(v *verdict, o *schemas.Outcome, m *measures, c *candidate, p *schemas.Protocol) {
	s := &w.series
	if !o.HRexBPM.Present() {
		v.add(schemas.Reject, schemas.ReasonLowCoverage,
			"no HRex: %.0f %% of its window has valid heart rate, %.0f %% are needed", 100*o.Coverage, 100*m.coverMin)
	}
	var by [drops]float64
	total, dropped := 0.0, 0.0
	for i := s.firstAt(m.at); i < len(s.at) && s.at[i] < m.end; i++ {
		if s.at[i] < m.at {
			continue
		}
		total += s.hold[i]
		by[s.why[i]] += s.hold[i]
		if s.why[i] != kept && s.why[i] != noReading {
			dropped += s.hold[i]
		}
	}
	if total > 0 && dropped > mostDropped*total {
		v.add(schemas.Check, schemas.ReasonArtefacts, "%.0f %% of the test's readings are artefacts", 100*dropped/total)
	}
	for _, k := range [...]struct {
		why  drop
		code schemas.ReasonCode
	}{{slipped, schemas.ReasonStrapSlip}, {stuck, schemas.ReasonStuck}, {onCadence, schemas.ReasonCadenceLock}} {
		if by[k.why] > 0.1*m.length {
			v.add(schemas.Check, k.code, "%.0f s of the test dropped: %s", by[k.why], dropWords[k.why])
		}
	}
	before, until := 0.0, 0.0
	for i := s.firstAt(m.at - slippedBefore); i < len(s.at) && s.at[i] < m.at; i++ {
		if s.why[i] == slipped || s.why[i] == onCadence {
			before, until = before+s.hold[i], s.at[i]+s.hold[i]
		}
	}
	if before > longSlip {
		// Between two jumps it was the stretch that looked wrong; it may have
		// been the right one, and all else since then wrong.
		v.add(schemas.Check, schemas.ReasonStrapSlip, "%.0f s dropped until %s because heart rate jumps there and back: the strap may have slipped, and the level be wrong since",
			before, when(until-m.at))
	}
	if cover := m.whole.coverage(); cover < 0.6 {
		v.add(schemas.Check, schemas.ReasonLowCoverage, "only %.0f %% of the whole test has valid heart rate", 100*cover)
	}
	recovered := m.end + p.MaxRecovery().Seconds() + 5
	for _, st := range s.steps {
		if st.at > m.at-stepsBefore && st.at < recovered {
			v.add(schemas.Check, schemas.ReasonStrapSlip, "heart rate jumps by %+.0f bpm %s: the strap may have slipped, and the level be wrong since",
				st.size, when(st.at-m.at))
			break
		}
	}
	if o.HRexSE.Or(0) > mostHRexSE {
		v.add(schemas.Check, schemas.ReasonHighUncertainty, "HRex is uncertain by %.1f bpm (standard error)", m.hrexSE)
	}
}

// judgeShape compares the test with the response it should show.
func (w *work) judgeShape(v *verdict, m *measures, c *candidate) {
	sh := w.finder.shapeOf(c.start, c.length, firstStep)
	if sh.kernel == nil {
		return
	}
	l := w.nearStep(m, &sh)
	if sh.stepAt < fastStep && sh.stepSize > 0 && !l.sudden() {
		sh = w.finder.shapeOf(c.start, c.length, fastStep)
		l = w.nearStep(m, &sh)
	}
	switch {
	case m.steps.sudden():
		v.add(schemas.Check, schemas.ReasonStrapSlip,
			"heart rate jumps by %+.0f bpm %s: the strap may have slipped, and the level be wrong", m.steps.size, when(m.steps.at-m.at))
	case sh.stepGain > leastStepGain*w.finder.room() && math.Abs(sh.stepSize) > leastStep && (c.alone() && sh.stepGain > 2*leastStepGain || l.t > leastStepT && l.size*sh.stepSize > 0):
		v.add(schemas.Check, schemas.ReasonStrapSlip,
			"heart rate changes its level by %+.0f bpm at once %s into the test: the strap may have slipped", sh.stepSize, mmss(sh.stepAt))
	}
	if sh.tau == fineOn[0] && c.seesOn() {
		v.add(schemas.Check, schemas.ReasonNotSteady, "heart rate rises faster than a run's response: an artefact, or the start is elsewhere")
	}
	scatter := math.Sqrt(sh.ss / float64(sh.n))
	late := w.series.noiseIn(m.end-60, m.end)
	// The response's slope at the end is the model's; heart rate itself must
	// still climb, or fall, too.
	climbs := stillClimbs
	if c.alone() {
		climbs /= 2
	}
	moving := late.n < 8 || late.slope > climbs || late.slope < -mostFall/2
	if c.level > mostLevelCost && (moving || w.finder.tooLow(c) > mostLevelCost) {
		v.add(schemas.Check, schemas.ReasonNotSteady, "heart rate has not come to a level by the end, or is far below the protocol's")
	} else if scatter > mostScatter*w.finder.room()+w.series.wiggle || c.misfit > mostMisfit*w.finder.room() {
		v.add(schemas.Check, schemas.ReasonNotSteady, "heart rate scatters by %.1f bpm about the response", scatter)
	}
	if w.finder.profile.flat && late.n >= 8 && (late.slope < -mostFall || late.slope > mostClimb) {
		v.add(schemas.Check, schemas.ReasonNotSteady, "heart rate changes by %+.0f bpm in the last minute: not a steady run", 60*late.slope)
	}
	bend, where := w.bend(m, &sh, c)
	if math.Abs(bend) > mostBend {
		v.add(schemas.Check, schemas.ReasonNotSteady,
			"heart rate is %+.0f bpm off the expected response %s into the test: not a steady run, or an artefact", bend, mmss(where))
	}
	if c.alone() && v.quality == schemas.Good {
		if n := w.signs(&sh, c, scatter, bend); n >= mostSigns {
			v.add(schemas.Check, schemas.ReasonStartUncertain,
				"nothing but heart rate says that this was the test, and it is unlike one in %d small ways (rise, level, steadiness, recovery)", n)
		}
	}
}

// nearStep is the largest leap near a shape's step that is at least as large as
// most of it.
func (w *work) nearStep(m *measures, sh *shape) leap {
	at := m.at + float64(sh.stepAt)
	return w.series.largestLeap(at-4-w.series.interval, at+4+w.series.interval, 0.6*math.Abs(sh.stepSize), false, nil)
}

// mostSigns: so many of the small signs below are too many for a stretch that
// nothing but heart rate calls the test. Of simulated tests 1 to 3 in 100 have
// as many; of stretches of other training that look like a test, more than half.
const mostSigns = 4

// signs counts small things that speak against a stretch's being a steady run
// from rest to a level and back. Each alone is common; several are not.
func (w *work) signs(sh *shape, c *candidate, scatter, bend float64) int {
	n := 0
	for _, sign := range [...]bool{
		c.on.rise() < 36,                  // hardly from rest
		c.on.h0 > 118,                     // not from rest
		c.on.tau <= fineOn[1],             // faster than heart rate rises
		c.evOn < mostOn,                   // a rise that is not clear
		c.off.fall() < 20,                 // hardly a rest after it
		c.tension > leastTension/2,        // edges not quite a test's length apart
		c.confidence() < 0.85,             // other places fit, too
		scatter > 1.2*w.series.wiggle+0.3, // more scatter than the trace's own
		math.Abs(bend) > 1.9,              // not quite level
		sh.stepGain > leastStepGain-1,     // a level of its own in part of it
	} {
		if sign {
			n++
		}
	}
	return n
}

// bend returns the largest difference between means of 15 s and the fitted
// response once the fast part of the rise is over, and when it is.
func (w *work) bend(m *measures, sh *shape, c *candidate) (bend float64, where int) {
	for t := max(60, c.length/3); t+15 <= c.length; t += 5 {
		a := w.series.window(m.at+float64(t), m.at+float64(t+15))
		want, ok := sh.at(c.start + t + 7)
		if !ok || a.coverage() < 0.6 {
			continue
		}
		if d := a.mean - want; math.Abs(d) > math.Abs(bend) {
			bend, where = d, t+7
		}
	}
	return bend / w.finder.room(), where
}

// room is how much more than a steady run a test of several stages or bouts may
// differ from its expected response.
func (f *finder) room() float64 {
	if f.profile.flat {
		return 1
	}
	return 1.6
}

// judgeLoad compares the speed with the protocol's; kept is true when there is
// both, and they agree.
func judgeLoad(v *verdict, m *measures, p *schemas.Protocol) (kept bool) {
	if m.missing > 0 {
		v.add(schemas.Check, schemas.ReasonStageMissing, "%d of the stages have too little valid heart rate, or were not run", m.missing)
	}
	if !m.speedOK {
		return false
	}
	want, secs, alike := 0.0, 0.0, true
	for _, st := range p.Stages {
		if st.Rest {
			continue
		}
		kmh, ok := st.SpeedKMH.Get()
		alike = alike && ok
		want += kmh * st.Duration.Seconds()
		secs += st.Duration.Seconds()
	}
	if alike && secs > 0 && want > 0 {
		want /= secs
		off := 100 * (3.6*m.speed/want - 1)
		if kept = math.Abs(off) <= mostSpeedOff; !kept {
			v.add(schemas.Check, schemas.ReasonLoadNotKept, "mean speed %.1f km/h is %+.0f %% off the protocol's %.1f km/h", 3.6*m.speed, off, want)
		}
	}
	if p.Regimen == schemas.Continuous && p.Progression == schemas.Fixed && m.speedCV > mostSpeedCV {
		v.add(schemas.Check, schemas.ReasonLoadNotKept, "speed varied by %.0f %% (coefficient of variation)", m.speedCV)
	}
	return kept
}

// judgeLevel compares HRex and peak with HRmax and the intensity band. loadKept
// says that the speed was the protocol's.
func judgeLevel(v *verdict, o *schemas.Outcome, m *measures, c *candidate, req *Request, loadKept bool) {
	top, ok := req.HRmax.BPM.Get()
	if !ok || top <= 0 {
		v.remark(schemas.ReasonHRmaxUnknown, "HRmax is not known: no %%HRmax")
		return
	}
	see := 0.0
	if req.HRmax.Source == schemas.HRmaxEstimated {
		see = req.HRmax.SEE.Or(10.8)
		v.remark(schemas.ReasonHRmaxEstimated, "HRmax of %.0f bpm is an estimate from age, ± %.0f bpm", top, see)
	}
	hrex, ok := o.HRexBPM.Get()
	if !ok {
		return
	}
	if over := m.whole.peak - top; over > 0 {
		if hrex > top {
			v.add(schemas.Check, schemas.ReasonHRmaxExceeded, "HRex of %.0f bpm is above HRmax (%.0f): HRmax is too low, or the readings are wrong", hrex, top)
		} else {
			v.remark(schemas.ReasonHRmaxExceeded, "heart rate reached %.0f bpm, above HRmax (%.0f): HRmax may need a new measurement", m.whole.peak, top)
		}
	}
	p := req.Protocol
	if p.BandHigh <= p.BandLow {
		return
	}
	pct, spare := 100*hrex/top, 100*see/top
	below := 100*p.BandLow - pct
	out := max(below, pct-100*p.BandHigh)
	known := loadKept || c.team || c.source == schemas.StartByHand
	switch {
	case !known && c.alone() && below > lighterAlone:
		v.add(schemas.Check, schemas.ReasonOutsideBand, "HRex is %.0f %% of HRmax, below the band of %.0f to %.0f %%, and nothing but heart rate says that this was the test: a lighter run?", pct, 100*p.BandLow, 100*p.BandHigh)
	case !known && below > lighter:
		v.add(schemas.Check, schemas.ReasonOutsideBand, "HRex is %.0f %% of HRmax, clearly below the band of %.0f to %.0f %%, and neither team-mates nor the protocol's speed say that this was the test: a lighter run?", pct, 100*p.BandLow, 100*p.BandHigh)
	case out > offBand+spare:
		v.add(schemas.Check, schemas.ReasonOutsideBand, "HRex is %.0f %% of HRmax, far outside the band of %.0f to %.0f %%", pct, 100*p.BandLow, 100*p.BandHigh)
	case out > 0:
		v.remark(schemas.ReasonOutsideBand, "HRex is %.0f %% of HRmax, outside the band of %.0f to %.0f %%", pct, 100*p.BandLow, 100*p.BandHigh)
	}
}
