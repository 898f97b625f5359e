package judge

import (
	"math"
	"math/rand/v2"
)

// Body is one invented athlete on one day. Heart rates in bpm, times in seconds.
type Body struct {
	HRmax, Stand float64 // maximum, and standing quietly before any work
	TestPct      float64 // steady heart rate at the test's load, fraction of HRmax
	FastShare    float64 // part of the rise that is vagal withdrawal
	OnFast       float64
	// OnSlow dominates the on-kinetics; Hunt et al. 2015 found a mean
	// time constant of 57.6 s with SD 23.6 for both parts together.
	OnSlow           float64
	OffFast, OffSlow float64
	Debt             float64 // how long the body still feels an effort that is over
	Residual         float64 // bpm above Stand that a run leaves for minutes
	DriftPerMin      float64 // bpm a minute of running
	Slow             float64 // bpm of slow component at 90 % HRmax
	Lead             float64 // bpm of anticipation just before the test
	Variability      float64 // SD in bpm of beat-to-beat noise at rest
	Steps            float64 // cadence at the test's speed, steps a minute
}

// NewBody draws an athlete. HRmax is one of [HRmaxes], so that files can share
// one call of the program.
func NewBody(r *rand.Rand) Body {
	b := Body{
		HRmax:       HRmaxes[r.IntN(len(HRmaxes))],
		Stand:       between(r, 66, 98),
		TestPct:     clamp(0.835+0.042*r.NormFloat64(), 0.74, 0.93),
		FastShare:   between(r, 0.2, 0.5),
		OnFast:      between(r, 6, 16),
		OnSlow:      clamp(55*math.Exp(0.3*r.NormFloat64()), 28, 105),
		OffFast:     between(r, 16, 38),
		Debt:        between(r, 5, 13),
		OffSlow:     clamp(82*math.Exp(0.28*r.NormFloat64()), 45, 150),
		Residual:    between(r, 5, 18),
		DriftPerMin: between(r, 0.1, 0.7),
		Slow:        between(r, 1, 6),
		Variability: between(r, 1.2, 3.6),
		Steps:       between(r, 156, 182),
	}
	if r.Float64() < 0.4 {
		b.Lead = between(r, 2, 8)
	}
	return b
}

// HRmaxes are the maxima athletes may have.
var HRmaxes = []float64{184, 191, 197, 204}

// Heart returns the noiseless heart rate at each whole second of the plan.
//
// Effort 0 is standing and 1 the test's load. Each part of the response
// follows effort, felt for some seconds after it is over, with its own time constant, another one upwards than
// downwards: x' = (u - x)/tau. Slow component, drift and the residual rise
// after work come on top; a soft ceiling keeps all below HRmax.
func (b *Body) Heart(p *Plan) []float64 {
	hr := make([]float64, len(p.Effort))
	rise := b.TestPct*b.HRmax - b.Stand
	fast, slow, felt := p.Effort[0], p.Effort[0], p.Effort[0]
	var late, worked, drift, lead float64
	for i, u := range p.Effort {
		goal := 0.0
		for _, t := range p.Tests {
			if d := t.Start - i; d > 0 && d < 18 {
				goal = b.Lead
			}
		}
		lead += (goal - lead) / 7
		level := b.FastShare*fast + (1-b.FastShare)*slow
		v := b.Stand + rise*level + late + drift + lead + b.Residual*worked*(1-clamp(level, 0, 1))
		hr[i] = ceiling(v, b.HRmax)

		felt = follow(felt, u, 1.5, b.Debt)
		fast = follow(fast, felt, b.OnFast, b.OffFast)
		slow = follow(slow, felt, b.OnSlow, b.OffSlow)
		over := clamp((b.Stand+rise*u)/b.HRmax-0.8, 0, 0.2)
		late = follow(late, b.Slow*over/0.1, 190, 140)
		worked = follow(worked, clamp(u, 0, 1), 120, 420)
		if u > 0.45 {
			drift += b.DriftPerMin / 60 * clamp(u, 0, 1.2)
		}
		drift -= drift / 700
	}
	return hr
}

// follow takes one second of a first-order response.
func follow(x, goal, up, down float64) float64 {
	tau := up
	if goal < x {
		tau = down
	}
	return x + (goal-x)*(1-math.Exp(-1/tau))
}

// ceiling bends values above 93 % of limit so that they approach it.
func ceiling(v, limit float64) float64 {
	knee := 0.93 * limit
	if v <= knee {
		return v
	}
	room := limit - knee
	return knee + room*(1-math.Exp(-(v-knee)/room))
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// secs draws whole seconds from lo to hi, both included.
func secs(r *rand.Rand, lo, hi int) int { return lo + r.IntN(max(hi-lo, 0)+1) }

func clamp(v, lo, hi float64) float64 { return min(max(v, lo), hi) }

// mean integrates the straight lines between whole-second values over [a, b).
func mean(v []float64, a, b float64) float64 {
	at := func(t float64) float64 {
		i := int(clamp(math.Floor(t), 0, float64(len(v)-1)))
		j := min(i+1, len(v)-1)
		return v[i] + (v[j]-v[i])*(t-float64(i))
	}
	sum := 0.0
	for t := a; t < b; {
		next := min(math.Floor(t)+1, b)
		sum += (at(t) + at(next)) / 2 * (next - t)
		t = next
	}
	return sum / (b - a)
}
