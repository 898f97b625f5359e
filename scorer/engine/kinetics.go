package engine

import (
	"math"
	"slices"

	"canter.example/schemas"
)

// Time constants tried in the search, in seconds. On-kinetics of 57.6 ± 23.6 s
// were measured in the field (Hunt et al. 2015; FACTS 4.6), recoveries of 32
// to 74 s (Barak et al. 2011; FACTS 4.7); the lists reach beyond both.
var (
	// The first three are for starts, the last for ends.
	coarseTau = [...]float64{18, 40, 80, 45}
	fineOn    = [...]float64{9, 13, 19, 28, 41, 60, 90}
	fineOff   = [...]float64{15, 24, 38, 60, 95}
)

const (
	// coarseOns of the coarse time constants are for starts.
	coarseOns = 3
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

// equal reports whether two loads are the same second by second.
func (p *profile) equal(q *profile) bool {
	return p.length == q.length && slices.Equal(p.load, q.load)
}

// read takes the load out of the protocol's stages, into p's memory. Stages
// without speed rise evenly in an incremental test and are alike in any other.
func (p profile) read(q *schemas.Protocol) profile {
	p.length = int(math.Round(q.Duration().Seconds()))
	p.load = p.load[:0]
	top, work, given := 0.0, 0, true
	for _, s := range q.Stages {
		if !s.Rest {
			work++
			v, ok := s.SpeedKMH.Get()
			given = given && ok && v > 0
			top = max(top, v)
		}
	}
	p.flat = true
	at, stage := 0.0, 0
	for _, s := range q.Stages {
		u := 1.0
		switch {
		case s.Rest:
			u = 0
		case given && top > 0:
			u = s.SpeedKMH.Or(top) / top
		case q.Progression == schemas.Incremental && work > 1:
			u = 0.6 + 0.4*float64(stage)/float64(work-1)
		}
		if !s.Rest {
			stage++
		}
		at += s.Duration.Seconds()
		for len(p.load) < int(math.Round(at)) && len(p.load) < p.length {
			p.load = append(p.load, u)
		}
	}
	for _, u := range p.load {
		if u != p.load[0] {
			p.flat = false
		}
	}
	return p
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
	tau, q   float64
	e, g     []float64
	ee       []float64 // Σ e²
	e1       []float64 // Σ e
	eg, gg   []float64 // Σ e·g, Σ g²
	g1       []float64 // Σ g
	flat     bool
	future   []float64 // future[t] = Σ_{k≥0} q^k x[t+k]
	futureAt int       // grid index of future[0]
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

// look prepares discounted sums of x over [a, b) for four kernels or more: with
// them the product of e with any stretch of x inside takes constant time.
func look(kernels []kernel, x []float64, a, b int) {
	// Four recursions side by side keep the processor busy: the last four may have
	// some of the others among them.
	for i := 0; i < len(kernels); i += 4 {
		look4(kernels[min(i, len(kernels)-4):], x[a:b], a)
	}
}

func look4(k []kernel, x []float64, at int) {
	n := len(x)
	for i := range k[:4] {
		k[i].future, k[i].futureAt = grow(k[i].future, n+1), at
		k[i].future[n] = 0
	}
	q0, q1, q2, q3 := k[0].q, k[1].q, k[2].q, k[3].q
	f0, f1, f2, f3 := k[0].future[:n], k[1].future[:n], k[2].future[:n], k[3].future[:n]
	var s0, s1, s2, s3 float64
	for t := n - 1; t >= 0; t-- {
		v := x[t]
		s0, s1, s2, s3 = v+q0*s0, v+q1*s1, v+q2*s2, v+q3*s3
		f0[t], f1[t], f2[t], f3[t] = s0, s1, s2, s3
	}
}

// decayed returns Σ e[k] x[t+k], 0 ≤ k < n.
func (k *kernel) decayed(t, n int) float64 {
	return k.future[t-k.futureAt] - k.e[n-1]*k.q*k.future[t+n-k.futureAt]
}

// plan holds the factors of the normal equations of one window: p seconds
// before an edge and n from it on. They do not depend on the trace, so one plan
// serves every place where the window is laid.
type plan struct {
	p, n int
	four
}

// onPlan is for the shapes of a response; see [response.improve].
func (k *kernel) onPlan(p, n int) plan {
	fp, fn := float64(p), float64(n)
	e1, ee, g1, eg, gg := k.e1[n], k.ee[n], k.g1[n], k.eg[n], k.gg[n]
	s1 := -fp * (fp + 1) / 2             // Σ k, -p ≤ k < 0
	s2 := fp * (fp + 1) * (2*fp + 1) / 6 // Σ k²
	return plan{p, n, factor(&[4][4]float64{
		{fp + ee, s1, e1 - ee, eg},
		{s1, s2 + 0.5, 0, 0},
		{e1 - ee, 0, fn - 2*e1 + ee, g1 - eg},
		{eg, 0, g1 - eg, gg + 0.1},
	})}
}

// offPlan is for the shapes of a recovery; see [kernel.fitOff].
func (k *kernel) offPlan(p, n int) plan {
	fp, fn := float64(p), float64(n)
	e1, ee := k.e1[n], k.ee[n]
	s1 := -fp * (fp + 1) / 2
	s2 := fp * (fp + 1) * (2*fp + 1) / 6
	return plan{p, n, factor(&[4][4]float64{
		{fp + ee, s1, e1 - ee, 0},
		{s1, s2 + 0.5, 0, 0},
		{e1 - ee, 0, fn - 2*e1 + ee, 0},
		{0, 0, 0, 1},
	})}
}

// rightOn returns the products of the response's shapes with x around second t.
func (k *kernel) rightOn(g *grid, f *plan, t int) [4]float64 {
	a, b := t-f.p, t+f.n
	pre, on := g.sum[t]-g.sum[a], g.sum[b]-g.sum[t]
	ex := k.decayed(t, f.n)
	y := [4]float64{pre + ex, g.sumT[t] - g.sumT[a] - float64(t)*pre, on - ex, 0}
	if k.flat {
		y[3] = (g.sumT[b] - g.sumT[t] - float64(t)*on) / 100
		return y
	}
	for i, v := range g.x[t:b] {
		y[3] += k.g[i] * v
	}
	return y
}

// rightOff is rightOn for a recovery.
func (k *kernel) rightOff(g *grid, f *plan, t int) [4]float64 {
	a, b := t-f.p, t+f.n
	pre := g.sum[t] - g.sum[a]
	ex := k.decayed(t, f.n)
	return [4]float64{pre + ex, g.sumT[t] - g.sumT[a] - float64(t)*pre, g.sum[b] - g.sum[t] - ex, 0}
}

// leftOn is the sum of squares that the response leaves. It is what the search
// spends its time on, so the steps of rightOn and explained are written out.
func (k *kernel) leftOn(g *grid, f *plan, t int) float64 {
	if !k.flat {
		return max(0, g.sumSquares(t-f.p, t+f.n)-f.explained(k.rightOn(g, f, t)))
	}
	a, b := t-f.p, t+f.n
	st, mt := g.sum[t], g.sumT[t]
	pre, on := st-g.sum[a], g.sum[b]-st
	ex := k.future[t-k.futureAt] - k.e[f.n-1]*k.q*k.future[b-k.futureAt]
	ft := float64(t)
	z0 := pre + ex
	z1 := mt - g.sumT[a] - ft*pre - f.l10*z0
	z2 := on - ex - f.l20*z0 - f.l21*z1
	z3 := (g.sumT[b]-mt-ft*on)/100 - f.l30*z0 - f.l31*z1 - f.l32*z2
	return max(0, g.sum2[b]-g.sum2[a]-z0*z0*f.d0-z1*z1*f.d1-z2*z2*f.d2-z3*z3*f.d3)
}

// leftOff is the sum of squares that the recovery leaves.
func (k *kernel) leftOff(g *grid, f *plan, t int) float64 {
	a, b := t-f.p, t+f.n
	st := g.sum[t]
	pre := st - g.sum[a]
	ex := k.future[t-k.futureAt] - k.e[f.n-1]*k.q*k.future[b-k.futureAt]
	z0 := pre + ex
	z1 := g.sumT[t] - g.sumT[a] - float64(t)*pre - f.l10*z0
	z2 := g.sum[b] - st - ex - f.l20*z0 - f.l21*z1
	return max(0, g.sum2[b]-g.sum2[a]-z0*z0*f.d0-z1*z1*f.d1-z2*z2*f.d2)
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
	load   float64 // mean of the load's response in the second half; 0 when flat
}

// rise is from the heart rate at the start to the level that it goes to.
func (r response) rise() float64 { return r.level + r.gain*r.load - r.h0 }

// lateLoad is the mean of g in the second half of n seconds, 0 for a flat load.
func (k *kernel) lateLoad(n int) float64 {
	if k.flat || n < 2 {
		return 0
	}
	return (k.g1[n] - k.g1[n/2]) / float64(n-n/2)
}

// improve fits the response with time constant k.tau to the seconds of a plan laid
// at a start t, by least squares on
//
//	before t:  h0 + slope·(s-t)
//	from t on: h0·e + level·(1-e) + gain·g
//
// with a weak prior that holds the drift to about ±5 bpm per 100 s, and takes it
// where it leaves less than what there was.
func (r *response) improve(k *kernel, g *grid, f *plan, t int) {
	z := f.forward(k.rightOn(g, f, t))
	ss := max(0, g.sumSquares(t-f.p, t+f.n)-f.squares(z))
	if ss < r.ss {
		x := f.unknowns(z)
		*r = response{tau: k.tau, ss: ss, n: f.p + f.n,
			h0: x[0] + reference, before: x[1], level: x[2] + reference, gain: x[3], load: k.lateLoad(f.n)}
	}
}

// recovery is a fit of the off-kinetics at one end.
type recovery struct {
	tau  float64
	ss   float64 // sum of squares left, bpm²
	n    int
	end  float64 // bpm at the end
	rest float64 // bpm that the recovery goes to
}

// fall is how far heart rate falls within the fitted stretch.
func (r recovery) fall() float64 {
	return (r.end - r.rest) * (1 - math.Exp(-offAfter/r.tau))
}

// fitOff fits a straight line before t and an exponential recovery from it on
// to the seconds of a plan laid at an end t.
func (k *kernel) fitOff(g *grid, f *plan, t int) recovery {
	y := k.rightOff(g, f, t)
	x := f.solve(y)
	return recovery{tau: k.tau, ss: max(0, g.sumSquares(t-f.p, t+f.n)-f.explained(y)), n: f.p + f.n,
		end: x[0] + reference, rest: x[2] + reference}
}
