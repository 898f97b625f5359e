package simulate

import (
	"math"
	"math/rand/v2"
)

// body is an invented athlete on an invented day. Heart rate has a fast and a
// slow part that follow demand, a lag, and a drift that builds up with work.
type body struct {
	maximum  float64 // bpm
	standing float64 // bpm that quiet standing leads to
	rise     float64 // s, time constant of the fast part upward
	slow     float64 // s, of the slow part
	slowPart float64 // share of the slow part in a change upward
	fall     float64 // s, time constant downward when standing
	lag      float64 // s that demand takes to show
	keepUp   float64 // s that heart rate keeps up after stopping
	drift    float64 // bpm a minute of work
	reserve  float64 // bpm a unit of demand: maximum - standing
}

func newBody(r *rand.Rand) *body {
	b := &body{
		maximum:  between(r, 180, 208),
		standing: between(r, 78, 108),
		rise:     math.Exp(between(r, math.Log(18), math.Log(55))),
		slow:     between(r, 60, 120),
		slowPart: between(r, 0, 0.25),
		fall:     between(r, 30, 90),
		lag:      between(r, 0, 3),
		keepUp:   between(r, 0, 7),
		drift:    between(r, 0, 1.4),
	}
	b.reserve = b.maximum - b.standing
	return b
}

// spell is a stretch of one demand: 0 standing quietly, 1 maximal.
type spell struct {
	from, to float64 // s
	demand   float64
	speed    float64 // m/s
	steps    float64 // a minute
	run      bool
	wobble   float64 // how unsteady the demand is, SD
}

// live returns heart rate at every second of the script, without noise.
func (b *body) live(r *rand.Rand, script []spell) []float64 {
	end := int(script[len(script)-1].to)
	hr := make([]float64, end)
	demand := make([]float64, end)
	wobble := 0.0
	i := 0
	for k := range demand {
		for i+1 < len(script) && float64(k) >= script[i].to {
			i++
		}
		wobble = 0.9*wobble + r.NormFloat64()*script[i].wobble*math.Sqrt(1-0.81)
		demand[k] = script[i].demand + wobble
		// Heart rate keeps up for some seconds after a run stops.
		if i > 0 && !script[i].run && script[i-1].run && float64(k) < script[i].from+b.keepUp {
			demand[k] = script[i-1].demand
		}
	}
	quick := b.standing + demand[0]*b.reserve
	tail := 0.0
	drift := 0.0
	for k := range hr {
		d := demand[max(0, k-int(b.lag+0.5))]
		want := b.standing + d*b.reserve
		if d > 0.45 {
			drift += b.drift / 60
		} else {
			drift *= 1 - 1.0/240
		}
		tau := b.fall
		if want > quick {
			tau = b.rise
		} else if d > 0.1 {
			tau = b.fall * 1.25
		}
		// The slow part lags behind the fast one upward, and leaves with it.
		share := b.slowPart
		quick += (want - quick) / tau
		tail += (share*(want-b.standing) - tail) / b.slow
		if want <= quick {
			tail -= tail / b.fall
		}
		hr[k] = min(quick-share*(quick-b.standing)+tail+drift, b.maximum)
	}
	return hr
}

func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }
