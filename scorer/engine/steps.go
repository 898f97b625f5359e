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
func (f *finder) shapeOf(start, length int) shape {
	g := &f.grid
	a, b := max(0, start-before), start+length
	sh := shape{response: response{ss: math.Inf(1)}}
	onsets := [...]int{start, start + 2, start + 4}
	for i := range f.fineOn {
		k := &f.fineOn[i]
		k.look(g.x, a, b)
		for _, t := range onsets {
			if r := k.fitOn(g, t, a, b); r.ss < sh.ss {
				sh.response, sh.kernel, sh.onset = r, k, t
			}
		}
	}
	if sh.kernel == nil {
		return sh
	}
	n := float64(b - a)
	for i := range f.fineOn {
		k := &f.fineOn[i]
		for _, t := range onsets {
			r := k.fitOn(g, t, a, b)
			at, size, fall := k.step(g, &r, t, a, b, start+10, b-8)
			left := max(r.ss-fall, 0)
			if v := n / (2 * worth) * math.Log((sh.ss/n+roundingVar)/(left/n+roundingVar)); at > 0 && v > sh.stepGain {
				sh.stepAt, sh.stepSize, sh.stepGain = at-start, size, v
			}
		}
	}
	return sh
}

// step returns the second in [from, to) at which a step added to the response r
// (with its onset at t, fitted over [a, b)) lowers the sum of squares most, its
// size and by how much. With r's residuals, the shapes X and the step h, the
// sum of squares falls by (h·r)² / (h·h - hᵀX(XᵀX)⁻¹Xᵀh).
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
