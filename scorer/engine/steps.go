package engine

import "math"

// shape is the response fitted to a whole test once its place is known, for
// judging only.
type shape struct {
	response
	kernel *kernel
	onset  int // grid second
	// The sudden change of level that would explain most of the scatter: when
	// (seconds into the test), by how many bpm, and the gain in log likelihood.
	stepAt   int
	stepSize float64
	stepGain float64
}

// Steps are looked for firstStep seconds after the onset, and what rises before
// fastStep must be a leap from near, too: the fast part of a response with two
// parts, which one exponential does not follow, looks like a step there.
const firstStep, fastStep = 10, 30

// at returns the response's heart rate at a grid second from the onset on.
func (sh *shape) at(t int) (bpm float64, ok bool) {
	k := t - sh.onset
	if sh.kernel == nil || k < 0 || k >= len(sh.kernel.e) {
		return 0, false
	}
	e := sh.kernel.e[k]
	return sh.h0*e + sh.level*(1-e) + sh.gain*sh.kernel.g[k], true
}

// shapeOf fits the response to a whole test, and looks in it for one sudden
// change of level that the response would otherwise swallow: a strap that
// slipped, or a lock on the step rate. For every second it asks how much of the
// scatter a step there would explain, the response being fitted anew beside it.
// Steps are looked for from so many seconds after the onset on.
func (f *finder) shapeOf(start, length, from int) shape {
	g := &f.grid
	if start < 1 || start+length > len(g.x) {
		return shape{} // a start given by hand, mostly outside the trace
	}
	p := min(before, start)
	a, b := start-p, start+length
	onset, n0 := start, length
	if f.unseen(start) && b-g.begin >= leastSeen {
		p, a, onset, n0 = 0, g.begin, g.begin, b-g.begin
	}
	sh := shape{response: response{ss: math.Inf(1)}}
	lates := [...]int{0, 3}
	best := 0
	look(f.fineOn[:], g.x, a, b)
	for i := range f.fineOn {
		k := &f.fineOn[i]
		for _, late := range lates {
			pl := k.onPlan(p+late, n0-late)
			if r := k.fitOn(g, &pl, onset+late); r.ss < sh.ss {
				sh.response, sh.kernel, sh.onset, best = r, k, onset+late, i
			}
		}
	}
	n := float64(b - a)
	for i := max(0, best-2); i <= min(best+2, len(f.fineOn)-1); i++ {
		k := &f.fineOn[i]
		for _, late := range lates {
			pl := k.onPlan(p+late, n0-late)
			r := k.fitOn(g, &pl, onset+late)
			// A step explains nothing much of a response that is far off.
			if r.ss > 3*sh.ss+n {
				continue
			}
			at, size, fall := k.step(g, &pl, &r, onset+late, onset+from, b-8)
			left := max(r.ss-fall, 0)
			if v := n / (2 * worth) * math.Log((sh.ss/n+roundingVar)/(left/n+roundingVar)); at > 0 && v > sh.stepGain {
				sh.stepAt, sh.stepSize, sh.stepGain = at-start, size, v
			}
		}
	}
	return sh
}

// step returns the second in [from, to) at which a step added to the response r
// (with its onset at t) lowers the sum of squares most, its size and by how
// much. With r's residuals, the shapes X and the step h, the sum of squares
// falls by (h·r)² / (h·h - hᵀX(XᵀX)⁻¹Xᵀh).
func (k *kernel) step(g *grid, pl *plan, r *response, t, from, to int) (at int, size, fall float64) {
	e1, g1 := k.e1[pl.n], k.g1[pl.n]
	var hr float64
	h0, level := r.h0-reference, r.level-reference
	for s := t + pl.n - 1; s >= from && s >= t; s-- {
		j := s - t
		hr += g.x[s] - h0*k.e[j] - level*(1-k.e[j]) - r.gain*k.g[j]
		if s >= to || (s-from)%2 != 0 {
			continue
		}
		rest := float64(pl.n - j)
		e := e1 - k.e1[j]
		free := rest - pl.explained([4]float64{e, 0, rest - e, g1 - k.g1[j]})
		if free < 1e-6*rest {
			continue
		}
		if v := hr * hr / free; v > fall {
			at, size, fall = s, hr/free, v
		}
	}
	return at, size, fall
}
