package engine

import (
	"math"
	"sort"
)

// A strap that slips, or a sensor that locks on to the step rate, moves the
// level of heart rate at once, and the response of a run swallows much of it: a
// fast part that is faster, or a drift. So the response with a change of level
// is set against the response alone, at every sample, by likelihood. A sudden
// change differs from a heart rate that wanders in that it takes one sample:
// noise that changes slowly must neither hide it nor make it. Neighbouring
// residuals are therefore taken to be correlated, by r to the power of the
// seconds between them, and all is fitted to what is new in each sample
// (generalised least squares with errors of first order).

// change is the sudden change of level in a test that the readings speak for
// most.
type change struct {
	at   int     // grid second
	size float64 // bpm
	gain float64 // log likelihood of the response with it over the response alone
	// sharp is the share of it by which heart rate really moves within one sample.
	sharp float64
}

// Limits of a change; choices of this package, judged by the hold-out.
const (
	// wrongHRex is the error in bpm that makes an HRex wrong, and changeZ the
	// standard errors by which a change must be larger: 95 in 100.
	wrongHRex, changeZ = 3.0, 1.65
	// leastChangeGain: of ten tests one may have such a change, at any of some
	// fifty places that can be told apart: ln(10 × 50).
	leastChangeGain = 6.2
	// leastSharp: more than half of a change in one sample.
	leastSharp = 0.6
	// sharpChange (bpm) and sharpGain: a change that is all in one sample, and that
	// noise makes once in e^8, may be a wrong HRex, though not for sure.
	allSharp, sharpChange, sharpGain = 0.8, 4.0, 8.0
	// firstChange: seconds after the onset of the response, and samples, until
	// which a change of level can't be told from the onset's being elsewhere.
	firstChange, firstSamples = 10.0, 2.0
	// lastChange: seconds before the end after which a change tells nothing.
	lastChange = 8.0
	// mostTried responses are compared in full: those that a change helps to fit
	// best, and the one that fits best without.
	mostTried = 3
	// leastReadings for any of it.
	leastReadings = 20
	// exactVar (bpm²) keeps a noiseless trace from being infinitely sure.
	exactVar = 0.15
)

// sure reports whether such a change is likelier than none and makes a wrong
// HRex, in a test whose response may be room times as far from the model as a
// steady run's. Twice a gain is the square of the size in standard errors. Where
// the load changes, level after level, only a sharp one counts.
func (ch *change) sure(room float64) bool {
	size := math.Abs(ch.size)
	if ch.sharp > allSharp && size > sharpChange*room && ch.gain > sharpGain*room {
		return true
	}
	return (room <= 1 || ch.sharp > leastSharp) && ch.gain > leastChangeGain*room && size-wrongHRex*room > changeZ*size/math.Sqrt(2*ch.gain)
}

// fresh holds what is new in each reading of a test, and in each shape there.
type fresh struct {
	near  []reading    // at in grid seconds, less the reference
	share []float64    // correlation with the reading before
	scale []float64    // 1/√(1-share²), which makes what is new as large everywhere
	rows  [][5]float64 // what is new in each shape at each reading
	res   []float64    // and in the response's residual there
}

// changeIn looks for a change of level in grid seconds [a, b), given the
// responses fitted to them.
func (f *finder) changeIn(fits []shape, a, b int) (best change) {
	if !f.readingsIn(a, b) {
		return change{}
	}
	u, s := &f.fresh, f.series
	tried, withStep := f.likeliest(fits, b)
	u.correlate(tried[0], &withStep, s.interval)
	after := firstChange + firstSamples*s.interval
	none, some := math.Inf(1), math.Inf(1)
	for _, sh := range tried {
		if sh == nil {
			continue
		}
		ss, ch, fall := u.step(sh, after, float64(b)-lastChange)
		none = min(none, ss)
		if ss-fall < some {
			some, best = ss-fall, ch
		}
	}
	best.gain = u.gain(none, some)
	return best
}

// readingsIn collects the kept readings of grid seconds [a, b), and reports whether
// they are enough.
func (f *finder) readingsIn(a, b int) bool {
	u, s := &f.fresh, f.series
	u.near = u.near[:0]
	to := f.grid.time(b)
	for i := sort.SearchFloat64s(s.at, f.grid.time(a)); i < len(s.at) && s.at[i] < to; i++ {
		if s.why[i] == kept {
			u.near = append(u.near, reading{at: s.at[i] - f.grid.origin + head, hr: s.hr[i] - reference})
		}
	}
	return len(u.near) >= leastReadings
}

// likeliest picks the responses to compare: first those that a change of level,
// found on the grid by plain least squares, helps to fit best, then the one that
// fits best alone. The change of the first is returned, too.
func (f *finder) likeliest(fits []shape, b int) (tried [mostTried + 1]*shape, first gridStep) {
	var left [len(tried)]float64
	put := func(sh *shape, ss float64, from, to int) bool {
		for k := from; k < to; k++ {
			if tried[k] == nil || ss < left[k] {
				copy(tried[k+1:to], tried[k:to-1])
				copy(left[k+1:to], left[k:to-1])
				tried[k], left[k] = sh, ss
				return k == 0
			}
		}
		return false
	}
	least := math.Inf(1)
	for i := range fits {
		least = min(least, fits[i].ss)
	}
	var last *shape
	for i := range fits {
		sh := &fits[i]
		put(sh, sh.ss, mostTried, len(tried))
		if farOff(sh.ss, least, sh.p+sh.n) {
			continue
		}
		// Those with one time constant and onset stand together.
		if last == nil || sh.kernel != last.kernel || sh.onset != last.onset {
			f.stepPlaces(sh, sh.onset+int(firstChange), b-int(lastChange))
		}
		last = sh
		if st := sh.step(f.steps); put(sh, sh.ss-st.fall, 0, mostTried) {
			first = st
		}
	}
	for k := mostTried; k < len(tried); k++ {
		for _, sh := range tried[:mostTried] {
			if sh == tried[k] {
				tried[k] = nil
			}
		}
	}
	return tried, first
}

// farOff reports whether a response that leaves a sum of squares ss of n seconds is
// so far off the best, which leaves least, that a change explains nothing much of it.
func farOff(ss, least float64, n int) bool { return ss > 2.5*least+float64(n)/2 }

// gridStep is a step in the grid's heart rate, by plain least squares.
type gridStep struct {
	at   int // grid second
	size float64
	fall float64    // by how much it lowers the sum of squares
	x    [5]float64 // the shapes beside it
}

// stepStride: seconds between the places tried on the grid.
const stepStride = 8

// stepPlace is a place for a step on the grid, as all responses see it that differ
// in their slower part alone.
type stepPlace struct {
	at   int
	sum  float64    // of heart rate from there on
	h    [4]float64 // products of the step with the first four shapes
	z    [4]float64 // Lz = h
	free float64    // of the step's square, what those shapes can't explain
}

// stepPlaces lays out the places in grid seconds [from, to).
func (f *finder) stepPlaces(sh *shape, from, to int) {
	g, k, n := &f.grid, sh.kernel, sh.n
	f.steps = f.steps[:0]
	for s := from; s < to; s += stepStride {
		j := s - sh.onset
		rest := float64(n - j)
		p := stepPlace{at: s, sum: g.sum[sh.onset+n] - g.sum[s], h: [4]float64{rest, 0, rest - k.e1[n] + k.e1[j], k.g1[n] - k.g1[j]}}
		p.z = sh.forward(p.h)
		p.free = rest - sh.squares(p.z)
		f.steps = append(f.steps, p)
	}
}

// step finds the step that lowers the sum of squares most. With the response's
// residuals r, its shapes X and the step h, it falls by (h·r)² / (h·h - hᵀX(XᵀX)⁻¹Xᵀh).
func (sh *shape) step(places []stepPlace) (best gridStep) {
	n, x := sh.n, &sh.x
	var at [5]float64
	for i := range places {
		p := &places[i]
		rest, slow := p.h[0], 0.0
		if sh.slower != nil {
			slow = rest - sh.slower.e1[n] + sh.slower.e1[p.at-sh.onset]
		}
		z4 := sh.last(&p.z, slow)
		free := p.free - z4*z4*sh.d4
		if free < 1e-6*rest {
			continue
		}
		hr := p.sum - x[0]*rest - x[2]*p.h[2] - x[3]*p.h[3] - x[4]*slow
		if v := hr * hr / free; v > best.fall {
			best.at, best.size, best.fall = p.at, hr/free, v
			at = [5]float64{rest, 0, p.h[2], p.h[3], slow}
		}
	}
	best.x = sh.x
	by := sh.five.solve(&at)
	for i := range best.x {
		best.x[i] -= by[i] * best.size
	}
	return best
}

// correlate sets how each reading goes with the one before it, by the residuals
// about a response with a step.
func (u *fresh) correlate(sh *shape, st *gridStep, interval float64) {
	var same, next, prev float64
	for _, r := range u.near {
		row := sh.row(r.at)
		e := r.hr
		for i, x := range st.x {
			e -= x * row[i]
		}
		if r.at >= float64(st.at) {
			e -= st.size
		}
		same, next, prev = same+e*e, next+e*prev, e
	}
	const least, most = 0.05, 0.97
	one := math.Log(min(max(next/max(same, 1e-9), least), most)) / max(interval, 1)
	u.share, u.scale = grow(u.share, len(u.near)), grow(u.scale, len(u.near))
	u.share[0], u.scale[0] = 0, 1
	last, share, scale := -1.0, 0.0, 1.0
	for i := 1; i < len(u.near); i++ {
		if d := u.near[i].at - u.near[i-1].at; d != last {
			last, share = d, math.Exp(one*d)
			scale = 1 / math.Sqrt(1-share*share)
		}
		u.share[i], u.scale[i] = share, scale
	}
}

// row are a response's shapes at a grid time.
func (sh *shape) row(at float64) [5]float64 {
	k := at - float64(sh.onset)
	if k < 0 {
		return [5]float64{1, k}
	}
	i := int(k)
	part := k - float64(i)
	r := [5]float64{1, 0, 1 - between(sh.kernel.e, i, part), between(sh.kernel.g, i, part)}
	if sh.slower != nil {
		r[4] = 1 - between(sh.slower.e, i, part)
	}
	return r
}

// between is the value of a table part of a second after i.
func between(table []float64, i int, part float64) float64 {
	if i+1 >= len(table) {
		return table[len(table)-1]
	}
	v := table[i]
	if part != 0 {
		v += part * (table[i+1] - v)
	}
	return v
}

// fit fits a response to what is new in each reading, and leaves there what is
// left of it, in rows and res.
func (u *fresh) fit(sh *shape) (eq five, x [5]float64, ss float64) {
	n := len(u.near)
	u.rows, u.res = grow(u.rows, n), grow(u.res, n)
	var m [5][5]float64
	var y, was [5]float64
	last, yy := 0.0, 0.0
	for i, r := range u.near {
		row := sh.row(r.at)
		share, scale := u.share[i], u.scale[i]
		w := &u.rows[i]
		for k := range w {
			w[k] = (row[k] - share*was[k]) * scale
		}
		v := (r.hr - share*last) * scale
		was, last = row, r.hr
		for k := range w {
			for l := 0; l <= k; l++ {
				m[k][l] += w[k] * w[l]
			}
			y[k] += w[k] * v
		}
		yy += v * v
		u.res[i] = v
	}
	for k, prior := range shapePriors {
		m[k][k] += prior
	}
	if sh.slower == nil {
		m[4] = withoutSlower
	}
	first := factor(&[4][4]float64{[4]float64(m[0][:4]), [4]float64(m[1][:4]), [4]float64(m[2][:4]), [4]float64(m[3][:4])})
	eq = first.with(&m[4])
	x = eq.solve(&y)
	rows := u.rows[:len(u.res)]
	for i, v := range u.res {
		for k, w := range &rows[i] {
			v -= x[k] * w
		}
		u.res[i] = v
	}
	return eq, x, max(0, yy-eq.explained(&y))
}

// step fits a response, and looks for the sudden change of level, from so many
// seconds after its onset to grid time to, that lowers the sum of squares most: ss
// without it, less fall with it.
func (u *fresh) step(sh *shape, after, to float64) (ss float64, ch change, fall float64) {
	eq, x, ss := u.fit(sh)
	n := len(u.near)
	// Products of the step with itself, the residuals and the shapes, the readings
	// after its first one so far.
	var hh, hr float64
	var hx, atBest [5]float64
	best := -1
	from := float64(sh.onset) + after
	for i := n - 1; i > 0 && u.near[i].at >= from; i-- {
		share, scale := u.share[i], u.scale[i]
		if u.near[i].at < to && n-i >= 4 {
			h := hx
			for k, w := range &u.rows[i] {
				h[k] += scale * w
			}
			at, r := hh+scale*scale, hr+scale*u.res[i]
			if free := at - eq.explained(&h); free > 1e-6*at && r*r > fall*free {
				best, fall, ch.size, atBest = i, r*r/free, r/free, h
			}
		}
		part := (1 - share) * scale
		hh, hr = hh+part*part, hr+part*u.res[i]
		for k, w := range &u.rows[i] {
			hx[k] += part * w
		}
	}
	if best < 0 {
		return ss, change{}, 0
	}
	// By how much heart rate moves there, besides the response.
	by := eq.solve(&atBest)
	here, before := sh.row(u.near[best].at), sh.row(u.near[best-1].at)
	moved := u.near[best].hr - u.near[best-1].hr
	for k := range x {
		moved -= (x[k] - by[k]*ch.size) * (here[k] - before[k])
	}
	ch.at, ch.sharp = int(math.Round(u.near[best].at)), moved/ch.size
	return ss, ch, fall
}
