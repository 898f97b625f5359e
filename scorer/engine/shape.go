package engine

import "math"

// shape is the response fitted to a whole test once its place is known, for
// judging only. Heart rate rises in two parts, a fast one as the vagus lets go
// and a slow one, so a steady run is given both:
//
//	before the onset: h0 + slope·k
//	from it on:       h0 + rise·(1-e) + gain·g + slow·(1-e′)
//
// with k the seconds from the onset, e and g of the kernel (see there), and e′
// of a slower one. Where the load changes, g answers it and there is no second
// part.
type shape struct {
	kernel *kernel
	slower *kernel // nil without a second part
	onset  int     // grid second
	p, n   int     // seconds before it, and from it on
	x      [5]float64
	ss     float64 // sum of squares left, bpm²
	five
}

// onsets tried are so many seconds from where the rise was seen to begin.
var onsets = [...]int{-3, 0, 3}

// at returns the response's heart rate at a grid second from the onset on.
func (sh *shape) at(t int) (bpm float64, ok bool) {
	k := t - sh.onset
	if sh.kernel == nil || k < 0 || k >= len(sh.kernel.e) {
		return 0, false
	}
	return reference + sh.value(k), true
}

// value is the response k seconds after the onset, less the reference.
func (sh *shape) value(k int) float64 {
	v := sh.x[0] + sh.x[2]*(1-sh.kernel.e[k]) + sh.x[3]*sh.kernel.g[k]
	if sh.slower != nil {
		v += sh.x[4] * (1 - sh.slower.e[k])
	}
	return v
}

// instant reports whether the response is as fast as the fastest that is tried,
// with no slower part: no run makes that.
func (sh *shape) instant() bool { return sh.kernel.tau == fineOn[0] && sh.slower == nil }

// scatter about the response, bpm.
func (sh *shape) scatter() float64 { return math.Sqrt(sh.ss / float64(sh.p+sh.n)) }

// shapeOf fits the response to a whole test, and looks in it for one sudden
// change of level that the response would otherwise swallow (change.go).
func (f *finder) shapeOf(c *candidate) (best shape, ch change) {
	g := &f.grid
	start, length := c.start, c.length
	if start < 1 || start+length > len(g.x) {
		return shape{}, change{} // a start given by hand, mostly outside the trace
	}
	a, b := start-min(before, start), start+length
	begin := start
	if f.unseen(start) && b-g.begin >= leastSeen {
		a, begin = g.begin, g.begin
	}
	look(f.fineOn[:], g.x, a, b)
	fits := f.shapes[:0]
	rises := begin
	if begin == start && c.seesOn() {
		rises = min(max(c.edges[0], start), start+lead/4)
	}
	for _, by := range onsets {
		if onset := rises + by; onset >= a {
			for i := range f.fineOn {
				fits = f.fitShapes(fits, i, onset, a, b)
			}
		}
	}
	f.shapes = fits
	best = fits[0]
	for i := range fits {
		if fits[i].ss < best.ss {
			best = fits[i]
		}
	}
	return best, f.changeIn(fits, a, b)
}

// shapePriors are those of the search for slope and gain, in the normal equations.
var shapePriors = [5]float64{1: 0.5, 3: 0.1}

// fitShapes fits the responses that begin at onset with one time constant, alone
// and with each slower one, to grid seconds [a, b) by least squares, and adds them
// to fits.
func (f *finder) fitShapes(fits []shape, fast, onset, a, b int) []shape {
	g, k, t := &f.grid, &f.fineOn[fast], onset
	sh := shape{kernel: k, onset: onset, p: onset - a, n: b - onset}
	n := sh.n
	fp, fn := float64(sh.p), float64(n)
	pre, on := g.sum[t]-g.sum[a], g.sum[b]-g.sum[t]
	e1, risen := k.e1[n], fn-k.e1[n]
	first := factor(&[4][4]float64{{fp + fn}, {-fp * (fp + 1) / 2, fp*(fp+1)*(2*fp+1)/6 + shapePriors[1]},
		{risen, 0, fn - 2*e1 + k.ee[n]}, {k.g1[n], 0, k.g1[n] - k.eg[n], k.gg[n] + shapePriors[3]}})
	y := [5]float64{pre + on, g.sumT[t] - g.sumT[a] - float64(t)*pre, on - k.decayed(t, n)}
	if k.flat {
		y[3] = (g.sumT[b] - g.sumT[t] - float64(t)*on) / 100
	} else {
		for i, v := range g.x[t:b] {
			y[3] += k.g[i] * v
		}
	}
	try := func(row *[5]float64) {
		sh.five = first.with(row)
		sh.x = sh.five.solve(&y)
		sh.ss = max(0, g.sumSquares(a, b)-sh.five.explained(&y))
		if sh.slower == nil || sh.x[2] > 0 && sh.x[4] > 0 { // both parts rise
			fits = append(fits, sh)
		}
	}
	try(&withoutSlower)
	if !f.profile.flat {
		return fits
	}
	for i := fast + 1; i < len(f.fineOn); i++ {
		s := &f.fineOn[i]
		left := k.e[n-1] * k.q * s.e[n-1] * s.q
		both := (1 - left) / (1 - k.q*s.q) // Σ e·e′
		sh.slower = s
		y[4] = on - s.decayed(t, n)
		try(&[5]float64{fn - s.e1[n], 0, fn - e1 - s.e1[n] + both, s.g1[n] - s.eg[n], fn - 2*s.e1[n] + s.ee[n]})
	}
	return fits
}

// withoutSlower is the fifth row where there is no fifth unknown.
var withoutSlower = [5]float64{4: 1}
