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
	sums   shapeSums
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
	try := func(onset int, fast, slow *kernel) {
		sh := shape{kernel: fast, slower: slow, onset: onset, p: onset - a, n: b - onset}
		sh.fit(g)
		if slow == nil || sh.x[2] > 0 && sh.x[4] > 0 { // both parts rise
			fits = append(fits, sh)
		}
	}
	rises := begin
	if begin == start && c.seesOn() {
		rises = min(max(c.edges[0], start), start+lead/4)
	}
	for _, by := range onsets {
		onset := rises + by
		if onset < a {
			continue
		}
		for i := range f.fineOn {
			try(onset, &f.fineOn[i], nil)
			for j := i + 1; j < len(f.fineOn) && f.profile.flat; j++ {
				try(onset, &f.fineOn[i], &f.fineOn[j])
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

// fit solves for the unknowns by least squares.
func (sh *shape) fit(g *grid) {
	k, n, t := sh.kernel, sh.n, sh.onset
	fp, fn := float64(sh.p), float64(n)
	pre, on := g.sum[t]-g.sum[t-sh.p], g.sum[t+n]-g.sum[t]
	e1, risen := k.e1[n], fn-k.e1[n]
	m := [5][5]float64{0: {fp + fn}, 1: {-fp * (fp + 1) / 2, fp*(fp+1)*(2*fp+1)/6 + 0.5},
		2: {risen, 0, fn - 2*e1 + k.ee[n]}, 3: {k.g1[n], 0, k.g1[n] - k.eg[n], k.gg[n] + 0.1}, 4: {4: 1}}
	y := [5]float64{pre + on, g.sumT[t] - g.sumT[t-sh.p] - float64(t)*pre, on - k.decayed(t, n)}
	if k.flat {
		y[3] = (g.sumT[t+n] - g.sumT[t] - float64(t)*on) / 100
	} else {
		for i, v := range g.x[t : t+n] {
			y[3] += k.g[i] * v
		}
	}
	if s := sh.slower; s != nil {
		left := k.e[n-1] * k.q * s.e[n-1] * s.q
		both := (1 - left) / (1 - k.q*s.q) // Σ e·e′
		m[4] = [5]float64{fn - s.e1[n], 0, fn - e1 - s.e1[n] + both, s.g1[n] - s.eg[n], fn - 2*s.e1[n] + s.ee[n]}
		y[4] = on - s.decayed(t, n)
	}
	sh.sums.factor(&m)
	var explained float64
	sh.x, explained = sh.sums.solve(&y)
	sh.ss = max(0, g.sumSquares(t-sh.p, t+n)-explained)
}

// shapeSums are the LDLᵀ factors of a shape's normal equations: the rows of L
// below its diagonal of ones, and the reciprocals of D.
type shapeSums struct {
	l [5][5]float64
	d [5]float64
}

// factor takes the factors of a symmetric matrix given by its lower half. The
// small ridge keeps a window that tells nothing of a shape from dividing by 0.
func (f *shapeSums) factor(m *[5][5]float64) {
	const ridge = 1e-6
	for i := range m {
		for j := range i {
			v := m[i][j]
			for k := range j {
				v -= f.l[i][k] * f.l[j][k] / f.d[k]
			}
			f.l[i][j] = v * f.d[j]
		}
		v := m[i][i] + ridge
		for k := range i {
			v -= f.l[i][k] * f.l[i][k] / f.d[k]
		}
		f.d[i] = 1 / max(v, ridge)
	}
}

// solve returns the unknowns for a right-hand side y, and yᵀM⁻¹y: by how much
// the fit lowers the sum of squares.
func (f *shapeSums) solve(y *[5]float64) (x [5]float64, explained float64) {
	z := f.forward(y)
	for i := len(f.d) - 1; i >= 0; i-- {
		explained += z[i] * z[i] * f.d[i]
		x[i] = z[i] * f.d[i]
		for k := i + 1; k < len(f.d); k++ {
			x[i] -= f.l[k][i] * x[k]
		}
	}
	return x, explained
}

// forward solves Lz = y, row by row: a third of judging a shape is spent here.
func (f *shapeSums) forward(y *[5]float64) [5]float64 {
	l := &f.l
	z0 := y[0]
	z1 := y[1] - l[1][0]*z0
	z2 := y[2] - l[2][0]*z0 - l[2][1]*z1
	z3 := y[3] - l[3][0]*z0 - l[3][1]*z1 - l[3][2]*z2
	z4 := y[4] - l[4][0]*z0 - l[4][1]*z1 - l[4][2]*z2 - l[4][3]*z3
	return [5]float64{z0, z1, z2, z3, z4}
}

// explained is yᵀM⁻¹y alone.
func (f *shapeSums) explained(y *[5]float64) float64 {
	z, d := f.forward(y), &f.d
	return z[0]*z[0]*d[0] + z[1]*z[1]*d[1] + z[2]*z[2]*d[2] + z[3]*z[3]*d[3] + z[4]*z[4]*d[4]
}
