package engine

import "math"

// hiddenStep looks in a test for one sudden change of level, which the fitted
// response would otherwise swallow: a strap that slipped, or a lock on the step
// rate. For every second it asks how much of the scatter about the response a
// step there would explain, the response being fitted anew beside it, and
// returns the step that explains most, as seconds into the test, bpm, and the
// gain in log likelihood.
//
// With r the residuals of the response, X its shapes and h the step, the sum of
// squares falls by (h·r)² / (h·h - hᵀX(XᵀX)⁻¹Xᵀh).
func (f *finder) hiddenStep(start, length int) (at int, size, gain float64) {
	g := &f.grid
	a, b := max(0, start-before), start+length
	best := math.Inf(1)
	for i := range f.fineOn {
		k := &f.fineOn[i]
		k.look(g.x, a, b)
		// The response may begin a little late.
		for _, late := range [...]int{0, 2, 4} {
			best = min(best, k.fitOn(g, start+late, a, b).ss)
		}
	}
	n := float64(b - a)
	for i := range f.fineOn {
		k := &f.fineOn[i]
		for _, t := range [...]int{start, start + 2, start + 4} {
			r := k.fitOn(g, t, a, b)
			// A time constant that fits badly even with its best step can't win.
			when, by, fall := k.step(g, &r, t, a, b, start+10, b-8)
			if when == 0 {
				continue
			}
			left := max(r.ss-fall, 0)
			if v := n / (2 * worth) * math.Log((best/n+roundingVar)/(left/n+roundingVar)); v > gain {
				at, size, gain = when-start, by, v
			}
		}
	}
	return at, size, gain
}

// step returns the second in [from, to) at which a step added to the response r
// (with its onset at t, fitted over [a, b)) lowers the sum of squares most.
func (k *kernel) step(g *grid, r *response, t, a, b, from, to int) (at int, size, fall float64) {
	p, n := float64(t-a), b-t
	var m [4][4]float64
	e1, ee, g1, eg, gg := k.e1[n], k.ee[n], k.g1[n], k.eg[n], k.gg[n]
	s1 := -p * (p + 1) / 2
	m[0] = [4]float64{p + ee, s1, e1 - ee, eg}
	m[1] = [4]float64{s1, p*(p+1)*(2*p+1)/6 + 0.5, 0, 0}
	m[2] = [4]float64{e1 - ee, 0, float64(n) - 2*e1 + ee, g1 - eg}
	m[3] = [4]float64{eg, 0, g1 - eg, gg + 0.1}
	var hr float64
	h0, level := r.h0-reference, r.level-reference
	for s := b - 1; s >= from; s-- {
		j := s - t
		if j < 0 {
			break
		}
		hr += g.x[s] - h0*k.e[j] - level*(1-k.e[j]) - r.gain*k.g[j]
		if s >= to {
			continue
		}
		rest := float64(b - s)
		e, gs := e1-k.e1[j], g1-k.g1[j]
		y := [4]float64{e, 0, rest - e, gs}
		x, ok := solve4(&m, &y)
		if !ok {
			return 0, 0, 0
		}
		free := rest - x[0]*y[0] - x[2]*y[2] - x[3]*y[3]
		if free < 1e-6*rest {
			continue
		}
		if v := hr * hr / free; v > fall {
			at, size, fall = s, hr/free, v
		}
	}
	return at, size, fall
}
