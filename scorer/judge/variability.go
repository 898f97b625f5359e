package judge

import (
	"math"
	"math/rand/v2"
)

// Beat is one beat of the heart: its time in seconds and the interval before it.
type Beat struct{ At, RR float64 }

// vary adds what a real heart adds to its mean: breathing (faster and smaller
// as work rises), the slow wave near 0.1 Hz, and noise whose power falls with
// frequency, made of four first-order processes from 3 s to 4 min. All of it
// shrinks toward a quarter near maximum, as variability does under load.
func (b *Body) vary(hr []float64, r *rand.Rand) []float64 {
	out := make([]float64, len(hr))
	taus := [4]float64{3, 14, 60, 240}
	var state [4]float64
	breath, wave := r.Float64()*2*math.Pi, r.Float64()*2*math.Pi
	for i, h := range hr {
		load := clamp((h-b.Stand)/(b.HRmax-b.Stand), 0, 1)
		calm := math.Pow(1-load, 1.5)
		sd := b.Variability * (0.25 + 0.75*calm)
		breath += 2 * math.Pi * (0.24 + 0.5*load + 0.02*r.NormFloat64())
		wave += 2 * math.Pi * (0.095 + 0.01*r.NormFloat64())
		v := h + sd*(0.9*calm+0.25)*math.Sin(breath) + 0.5*sd*math.Sin(wave)
		for k, tau := range taus {
			f := math.Exp(-1 / tau)
			state[k] = f*state[k] + math.Sqrt(1-f*f)*r.NormFloat64()
			v += 0.4 * sd * state[k]
		}
		out[i] = v
	}
	return out
}

// beats runs through hr beat by beat. ectopic is the chance that a beat comes
// early and the next one late to make up for it.
func beats(hr []float64, ectopic func(second int) float64, r *rand.Rand) []Beat {
	var out []Beat
	t, pause := 0.0, 1.0
	for int(t) < len(hr)-1 {
		i := int(t)
		h := hr[i] + (hr[i+1]-hr[i])*(t-float64(i))
		rr := 60 / h
		switch {
		case pause != 1:
			rr, pause = rr*pause, 1
		case r.Float64() < ectopic(i):
			early := between(r, 0.55, 0.75)
			rr, pause = rr*early, 2-early
		}
		t += rr
		out = append(out, Beat{At: t, RR: rr})
	}
	return out
}
