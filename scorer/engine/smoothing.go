package engine

import "math"

// Devices show the mean of the last seconds, some of many: heart rate then turns
// late by half of them, at the start of a run and at its end alike, and the turn
// is round instead of sharp. How round it is says how late it is; and whatever
// else rounds a turn, in the body or in the device, delays it as well, since
// nothing answers before it is asked.

// smoothings are the lengths of averaging tried, in seconds; longer ones are
// less usual.
var smoothings = [...]int{1, 3, 5, 7, 9, 11, 13, 15}

const (
	// usualSmoothing: the prior density falls by e over so many seconds. A
	// choice of this package: straps average over a few seconds, optical
	// sensors over up to a dozen.
	usualSmoothing = 5.0
	// turnBefore and turnAfter are the seconds around a turn that are looked at.
	turnBefore, turnAfter = 30, 50
	// turnShifts: seconds to either side that a rounded turn may be from where
	// the sharp one fits best, its lateness taken off.
	turnShifts = 1
	// leastWorth and mostWorth bound how many seconds about a turn carry the
	// information of one independent reading: no response is exact, and hardly
	// any noise is slower.
	leastWorth, mostWorth = 2.0, 10.0
)

// turns holds the plans for rounded turns by time constant, length of averaging
// and shift.
type turns struct {
	on  [len(fineOn)][len(smoothings)][2*turnShifts + 1]plan
	off [len(fineOff)][len(smoothings)][2*turnShifts + 1]plan
}

// turnOffset is where in its window a turn averaged over w seconds begins, when
// the sharp one fits best turnBefore seconds into it.
func turnOffset(w, shift int) int { return turnBefore - (w-1)/2 + shift }

// roundPlan is the plan for the shapes of a response (or of a recovery, with on
// false) that begins at second p of a window of n, averaged over w seconds.
func (k *kernel) roundPlan(p, n, w int, on bool) plan {
	var m [4][4]float64
	for s := range n {
		var x [4]float64
		for j := range w {
			if i := s - p - j; i < 0 {
				x[0]++
				x[1] += float64(i)
			} else {
				x[0] += k.e[i]
				x[2] += 1 - k.e[i]
				if on {
					x[3] += float64(i) / 100
				}
			}
		}
		for a := range x {
			for b := range a + 1 {
				m[a][b] += x[a] * x[b] / float64(w*w) //nolint:gosec // both below four
			}
		}
	}
	m[1][1] += 0.5
	if m[3][3] += 0.1; !on {
		m[3][3] = 1
	}
	for a := range m {
		for b := range a {
			m[b][a] = m[a][b] //nolint:gosec // both below four
		}
	}
	return factors(p, n, m)
}

// leftRound is the sum of squares that a turn averaged over w seconds leaves in
// the window of a plan that begins at second a. Averaging over turns of a shape
// is the same as averaging the shape.
func (k *kernel) leftRound(g *grid, pl *plan, a, w int, on bool) float64 {
	var y [4]float64
	for j := range w {
		at := plan{p: pl.p + j, n: pl.n - pl.p - j}
		var z [4]float64
		if on {
			z = k.rightOn(g, &at, a+at.p)
		} else {
			z = k.rightOff(g, &at, a+at.p)
		}
		for i := range y {
			y[i] += z[i]
		}
	}
	for i := range y {
		y[i] /= float64(w)
	}
	return max(0, g.sumSquares(a, a+pl.n)-pl.explained(y))
}

// smoothing returns by how many seconds averaging delays both edges of a
// candidate, and the variance of that, from how round its turns are. kOn and
// kOff are the time constants that fit best with sharp turns.
func (f *finder) smoothing(c *candidate, kOn, kOff int, onSeen, offSeen bool) (lag, variance float64) {
	var logs [len(smoothings)]float64
	for i, w := range smoothings {
		logs[i] = -float64(w-1) / usualSmoothing
	}
	const n = turnBefore + turnAfter
	add := func(i int, best float64, worth *float64) {
		if i == 0 {
			*worth = f.worthOf(best / n)
		}
		logs[i] -= n / (2 * *worth) * math.Log(best/n+roundingVar)
	}
	var worthOn, worthOff float64
	for i, w := range smoothings {
		if onSeen {
			best := math.Inf(1)
			for k := max(kOn-1, 0); k < min(kOn+2, len(fineOn)); k++ {
				for s := range f.turns.on[k][i] {
					pl := &f.turns.on[k][i][s]
					if pl.n == 0 {
						*pl = f.fineOn[k].roundPlan(turnOffset(w, s-turnShifts), n, w, true)
					}
					best = min(best, f.fineOn[k].leftRound(&f.grid, pl, c.edges[0]-turnBefore, w, true))
				}
			}
			add(i, best, &worthOn)
		}
		if offSeen {
			best := math.Inf(1)
			for k := max(kOff-1, 0); k < min(kOff+2, len(fineOff)); k++ {
				for s := range f.turns.off[k][i] {
					pl := &f.turns.off[k][i][s]
					if pl.n == 0 {
						*pl = f.fineOff[k].roundPlan(turnOffset(w, s-turnShifts), n, w, false)
					}
					best = min(best, f.fineOff[k].leftRound(&f.grid, pl, c.edges[1]-turnBefore, w, false))
				}
			}
			add(i, best, &worthOff)
		}
	}
	top := math.Inf(-1)
	for _, l := range logs {
		top = max(top, l)
	}
	var sum, sl, sll float64
	for i, w := range smoothings {
		p, l := math.Exp(logs[i]-top), float64(w-1)/2
		sum, sl, sll = sum+p, sl+p*l, sll+p*l*l
	}
	lag = sl / sum
	return lag, max(0, sll/sum-lag*lag)
}

// worthOf is how many seconds carry the information of one independent reading
// where noise of the given variance changes from sample to sample as the trace
// does: with correlation r of neighbouring samples, (1+r)/(1-r) samples.
func (f *finder) worthOf(variance float64) float64 {
	fresh := min(max(sq(f.wiggle)/(2*max(variance, 0.1)), 0.01), 1) // 1-r
	return min(max(f.interval*(2-fresh)/fresh, leastWorth), mostWorth)
}
