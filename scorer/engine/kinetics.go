package engine

import (
	"math"

	"canter.example/schemas"
)

// Time constants tried in the search, in seconds. On-kinetics of 57.6 ± 23.6 s
// were measured in the field (Hunt et al. 2015; FACTS 4.6), recoveries of 32
// to 74 s (Barak et al. 2011; FACTS 4.7); the lists reach beyond both.
var (
	coarseOn  = [...]float64{18, 40, 80}
	coarseOff = [...]float64{30, 60}
	fineOn    = [...]float64{9, 13, 19, 28, 41, 60, 90}
	fineOff   = [...]float64{15, 24, 38, 60, 95}
)

const (
	// before is how much of the time before a start the response is fitted to.
	before = 30
	// offBefore and offAfter are the same around the end of the test.
	offBefore = 30
	offAfter  = 50
	// roundingVar keeps a noiseless trace from being infinitely sure: a
	// rounded heart rate has a variance of 1/12, and no response is exact.
	roundingVar = 0.3
)

// profile is the load of a protocol second by second, from 0 (rest) to 1.
type profile struct {
	length int // seconds
	load   []float64
	flat   bool // the same load throughout
}

// newProfile reads the load out of the protocol's stages. Stages without speed
// rise evenly in an incremental test and are alike in any other.
func newProfile(p *schemas.Protocol) profile {
	out := profile{length: int(math.Round(p.Duration().Seconds()))}
	out.load = make([]float64, 0, out.length)
	top, work, given := 0.0, 0, true
	for _, s := range p.Stages {
		if !s.Rest {
			work++
			v, ok := s.SpeedKMH.Get()
			given = given && ok && v > 0
			top = max(top, v)
		}
	}
	out.flat = true
	at, stage := 0.0, 0
	for _, s := range p.Stages {
		u := 1.0
		switch {
		case s.Rest:
			u = 0
		case given && top > 0:
			u = s.SpeedKMH.Or(top) / top
		case p.Progression == schemas.Incremental && work > 1:
			u = 0.6 + 0.4*float64(stage)/float64(work-1)
		}
		if !s.Rest {
			stage++
		}
		at += s.Duration.Seconds()
		for len(out.load) < int(math.Round(at)) && len(out.load) < out.length {
			out.load = append(out.load, u)
		}
	}
	for _, u := range out.load {
		if u != out.load[0] {
			out.flat = false
		}
	}
	return out
}

// kernel is the response to the load with one time constant tau, k seconds
// after the start, with running sums of its products.
//
//	e[k] = exp(-k/tau)                       what is left of the old state
//	g[k] = Σ (1-q) q^(k-1-j) load[j], j < k  first-order response to the load
//
// With a load that does not change, g is 1-e and the fourth shape is the slow
// drift k/100 in its place.
type kernel struct {
	tau, q    float64
	e, g      []float64
	ee        []float64 // Σ e²
	e1        []float64 // Σ e
	eg, gg    []float64 // Σ e·g, Σ g²
	g1        []float64 // Σ g
	flat      bool
	future    []float64 // future[t] = Σ_{k≥0} q^k x[t+k]
	futureAt  int       // grid index of future[0]
	futureLen int
}

func (k *kernel) make(tau float64, n int, p *profile) {
	k.tau, k.q, k.flat = tau, math.Exp(-1/tau), p == nil || p.flat
	k.e, k.g = grow(k.e, n), grow(k.g, n)
	k.ee, k.e1 = grow(k.ee, n+1), grow(k.e1, n+1)
	k.eg, k.gg, k.g1 = grow(k.eg, n+1), grow(k.gg, n+1), grow(k.g1, n+1)
	k.ee[0], k.e1[0], k.eg[0], k.gg[0], k.g1[0] = 0, 0, 0, 0, 0
	e, g := 1.0, 0.0
	for i := range n {
		if k.flat {
			g = float64(i) / 100
		}
		k.e[i], k.g[i] = e, g
		k.e1[i+1], k.ee[i+1] = k.e1[i]+e, k.ee[i]+e*e
		k.eg[i+1], k.gg[i+1], k.g1[i+1] = k.eg[i]+e*g, k.gg[i]+g*g, k.g1[i]+g
		if !k.flat {
			u := 0.0
			if i < len(p.load) {
				u = p.load[i]
			}
			g = k.q*g + (1-k.q)*u
		}
		e *= k.q
	}
}

// look prepares discounted sums of x over [a, b): with them the product of e
// with any stretch of x inside takes constant time.
func (k *kernel) look(x []float64, a, b int) {
	k.future = grow(k.future, b-a+1)
	k.futureAt, k.futureLen = a, b-a
	f := 0.0
	k.future[b-a] = 0
	for t := b - 1; t >= a; t-- {
		f = x[t] + k.q*f
		k.future[t-a] = f
	}
}

// decayed returns Σ e[k] x[t+k], 0 ≤ k < n.
func (k *kernel) decayed(t, n int) float64 {
	return k.future[t-k.futureAt] - k.e[n-1]*k.q*k.future[t+n-k.futureAt]
}

// response is a fit of the on-kinetics at one start.
type response struct {
	tau    float64
	ss     float64 // sum of squares left, bpm²
	n      int
	h0     float64 // bpm at the start
	before float64 // bpm/s before it
	level  float64 // bpm that the response goes to
	gain   float64 // drift in bpm per 100 s, or response to the load's changes
}

// rise is from the heart rate at the start to the level that it goes to.
func (r response) rise() float64 { return r.level - r.h0 }

// fitOn fits the response with time constant k.tau to the grid over [a, b) for
// a start at t, a ≤ t < b, by least squares on
//
//	before t:  h0 + slope·(s-t)
//	from t on: h0·e + level·(1-e) + gain·g
//
// with a weak prior that holds the drift to about ±5 bpm per 100 s.
func (k *kernel) fitOn(g *grid, t, a, b int) response {
	p, n := float64(t-a), b-t
	var m [4][4]float64
	var y [4]float64
	e1, ee, g1, eg, gg := k.e1[n], k.ee[n], k.g1[n], k.eg[n], k.gg[n]
	fn := float64(n)
	s1 := -p * (p + 1) / 2            // Σ k, -p ≤ k < 0
	s2 := p * (p + 1) * (2*p + 1) / 6 // Σ k²
	m[0] = [4]float64{p + ee, s1, e1 - ee, eg}
	m[1] = [4]float64{s1, s2 + 0.5, 0, 0}
	m[2] = [4]float64{e1 - ee, 0, fn - 2*e1 + ee, g1 - eg}
	m[3] = [4]float64{eg, 0, g1 - eg, gg + 0.1}
	pre := g.sum[t] - g.sum[a]
	ex := k.decayed(t, n)
	on := g.sum[b] - g.sum[t]
	y[0] = pre + ex
	y[1] = g.sumT[t] - g.sumT[a] - float64(t)*pre
	y[2] = on - ex
	if k.flat {
		y[3] = (g.sumT[b] - g.sumT[t] - float64(t)*on) / 100
	} else {
		for i, v := range g.x[t:b] {
			y[3] += k.g[i] * v
		}
	}
	beta, ok := solve4(&m, &y)
	if !ok {
		return response{tau: k.tau, ss: math.Inf(1), n: b - a}
	}
	ss := g.sumSquares(a, b) - beta[0]*y[0] - beta[1]*y[1] - beta[2]*y[2] - beta[3]*y[3]
	return response{tau: k.tau, ss: max(ss, 0), n: b - a, h0: beta[0] + reference,
		before: beta[1], level: beta[2] + reference, gain: beta[3]}
}

// recovery is a fit of the off-kinetics at one end.
type recovery struct {
	tau   float64
	ss    float64
	n     int
	end   float64 // bpm at the end
	slope float64 // bpm/s before it
	rest  float64 // bpm that the recovery goes to
}

// fall is how far heart rate falls within the fitted stretch.
func (r recovery) fall() float64 {
	return (r.end - r.rest) * (1 - math.Exp(-offAfter/r.tau))
}

// fitOff fits a straight line before t and an exponential recovery from it on,
// over [a, b).
func (k *kernel) fitOff(g *grid, t, a, b int) recovery {
	p, n := float64(t-a), b-t
	e1, ee := k.e1[n], k.ee[n]
	s1 := -p * (p + 1) / 2
	s2 := p * (p + 1) * (2*p + 1) / 6
	m := [3][3]float64{{p + ee, s1, e1 - ee}, {s1, s2 + 0.5, 0}, {e1 - ee, 0, float64(n) - 2*e1 + ee}}
	pre := g.sum[t] - g.sum[a]
	ex := k.decayed(t, n)
	y := [3]float64{pre + ex, g.sumT[t] - g.sumT[a] - float64(t)*pre, g.sum[b] - g.sum[t] - ex}
	beta, ok := solve3(&m, &y)
	if !ok {
		return recovery{tau: k.tau, ss: math.Inf(1), n: b - a}
	}
	ss := g.sumSquares(a, b) - beta[0]*y[0] - beta[1]*y[1] - beta[2]*y[2]
	return recovery{tau: k.tau, ss: max(ss, 0), n: b - a, end: beta[0] + reference,
		slope: beta[1], rest: beta[2] + reference}
}

// solve4 solves the symmetric positive definite system m·x = y by Cholesky
// factors. ok is false when m is singular.
func solve4(m *[4][4]float64, y *[4]float64) (x [4]float64, ok bool) {
	d0 := m[0][0]
	if d0 <= 1e-9 {
		return x, false
	}
	l10, l20, l30 := m[1][0]/d0, m[2][0]/d0, m[3][0]/d0
	d1 := m[1][1] - l10*m[1][0]
	if d1 <= 1e-9 {
		return x, false
	}
	c21 := m[2][1] - l20*m[1][0]
	c31 := m[3][1] - l30*m[1][0]
	l21, l31 := c21/d1, c31/d1
	d2 := m[2][2] - l20*m[2][0] - l21*c21
	if d2 <= 1e-9 {
		return x, false
	}
	c32 := m[3][2] - l30*m[2][0] - l31*c21
	l32 := c32 / d2
	d3 := m[3][3] - l30*m[3][0] - l31*c31 - l32*c32
	if d3 <= 1e-9 {
		return x, false
	}
	z1 := y[1] - l10*y[0]
	z2 := y[2] - l20*y[0] - l21*z1
	z3 := y[3] - l30*y[0] - l31*z1 - l32*z2
	x[3] = z3 / d3
	x[2] = z2/d2 - l32*x[3]
	x[1] = z1/d1 - l21*x[2] - l31*x[3]
	x[0] = y[0]/d0 - l10*x[1] - l20*x[2] - l30*x[3]
	return x, true
}

// solve3 is solve4 for three unknowns.
func solve3(m *[3][3]float64, y *[3]float64) (x [3]float64, ok bool) {
	d0 := m[0][0]
	if d0 <= 1e-9 {
		return x, false
	}
	l10, l20 := m[1][0]/d0, m[2][0]/d0
	d1 := m[1][1] - l10*m[1][0]
	if d1 <= 1e-9 {
		return x, false
	}
	c21 := m[2][1] - l20*m[1][0]
	l21 := c21 / d1
	d2 := m[2][2] - l20*m[2][0] - l21*c21
	if d2 <= 1e-9 {
		return x, false
	}
	z1 := y[1] - l10*y[0]
	z2 := y[2] - l20*y[0] - l21*z1
	x[2] = z2 / d2
	x[1] = z1/d1 - l21*x[2]
	x[0] = y[0]/d0 - l10*x[1] - l20*x[2]
	return x, true
}
