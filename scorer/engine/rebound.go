package engine

import (
	"math"
	"sort"
)

// rebound is the fall of heart rate after a test as it should be: level for
// some seconds, then an exponential decay (Barak et al. 2011; FACTS 4.7),
// fitted to the recorded samples to see whether they are those of a recovery.
type rebound struct {
	from      float64 // trace seconds of the end of the test
	hold, tau float64 // s
	end, rest float64 // bpm
	ss        float64 // sum of squares left, bpm²
	bend      float64 // largest mean difference over 10 s, bpm
	bendAt    float64 // s after the end
	leap      leap    // largest sudden change
}

// Values tried for a rebound. Heart rate keeps up for some seconds after
// stopping, and devices average and are late.
var (
	reboundHold = [...]float64{-5, 0, 4, 8, 12}
	reboundTau  = [...]float64{14, 24, 40, 65, 110, 220}
)

const (
	// reboundBefore: seconds of the test that the fit includes. A bout still
	// lifts heart rate until its end and for some seconds after it.
	reboundBefore, reboundBout = 10, -3
	reboundAfter               = 12 // s after the delay
	// longDelay (s): beyond it a fit whose hold is 2 s off, or its tau a tenth, can
	// no longer follow a sound recovery to mostReboundBend.
	longDelay = 90
)

// reboundOf fits the recovery to a delay after the end of a test, from some
// seconds before the end on, with at most 240 samples. The device shows it lag
// seconds late. ok is false where there are too few samples.
func (s *series) reboundOf(end, delay, lag, before float64) (best rebound, ok bool) {
	var t, y [240]float64
	n := 0
	step := max(1, s.interval) // no more samples than a second has
	prev := math.Inf(-1)
	for i := sort.SearchFloat64s(s.at, end-before); i < len(s.at) && s.at[i] < end+delay+reboundAfter && n < len(t); i++ {
		if s.why[i] == kept && s.at[i] > prev+step-0.5 {
			t[n], y[n] = s.at[i]-end, s.hr[i]
			prev = s.at[i]
			n++
		}
	}
	if n < 8 {
		return best, false
	}
	best.ss = math.Inf(1)
	try := func(hold, tau float64) {
		if fit := fitRebound(t[:n], y[:n], hold, tau); fit.ss < best.ss {
			best = fit
		}
	}
	for _, tau := range reboundTau {
		for _, hold := range reboundHold {
			try(hold+lag, tau)
		}
	}
	around := func(times, by []float64) {
		near := best
		for _, times := range times {
			for _, by := range by {
				try(near.hold+by, near.tau*times)
			}
		}
	}
	around([]float64{0.8, 0.9, 1, 1.12, 1.25}, []float64{-2, 0, 2})
	if delay > longDelay {
		around([]float64{0.85, 0.92, 0.96, 1, 1.04, 1.08, 1.15}, []float64{-2, -1, 0, 1, 2})
	}
	best.from = end
	lo, sum := 0, 0.0
	for i := range n {
		sum += y[i] - best.at(end+t[i])
		for t[i]-t[lo] > max(10, 2.2*s.interval) {
			sum -= y[lo] - best.at(end+t[lo])
			lo++
		}
		if k := i - lo + 1; k >= 3 && t[i]-t[lo] > 5 {
			if d := sum / float64(k); math.Abs(d) > math.Abs(best.bend) {
				best.bend, best.bendAt = d, (t[i]+t[lo])/2
			}
		}
	}
	best.leap = s.largestLeap(end-min(before, 5), end+delay+reboundAfter, math.Inf(1), 3, &best)
	return best, true
}

// at returns the fitted heart rate at a trace second.
func (r *rebound) at(t float64) float64 {
	return r.rest + (r.end-r.rest)*math.Exp(-max(0, t-r.from-r.hold)/r.tau)
}

// fitRebound solves for end and rest at a fixed hold and tau.
func fitRebound(t, y []float64, hold, tau float64) rebound {
	var n, se, see, sy, sey, syy float64
	e, prev := 1.0, math.Inf(-1)
	ratio, step := 1.0, 0.0
	base := y[0]
	for i, v := range t {
		switch {
		case v <= hold:
			e = 1
		case prev <= hold:
			e = math.Exp(-(v - hold) / tau)
		default:
			if d := v - prev; d != step {
				step, ratio = d, math.Exp(-d/tau)
			}
			e *= ratio
		}
		prev = v
		w := y[i] - base
		n++
		se += e
		see += e * e
		sy += w
		sey += e * w
		syy += w * w
	}
	r := rebound{hold: hold, tau: tau}
	fall := 0.0
	if det := n*see - se*se; det > 1e-9 {
		fall = (n*sey - se*sy) / det
	}
	rest := (sy - fall*se) / n
	r.rest, r.end = rest+base, rest+fall+base
	r.ss = max(0, syy-rest*sy-fall*sey)
	return r
}
