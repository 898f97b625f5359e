package simulate

import (
	"math"
	"math/rand/v2"
	"time"

	"canter.example/schemas"
)

// recorder is an invented strap and watch.
type recorder struct {
	r       *rand.Rand
	every   int // seconds between samples
	smart   bool
	smooth  int     // seconds over which it averages
	noise   float64 // bpm
	memory  float64 // correlation of the noise from second to second
	speed   bool
	cadence bool
}

func newRecorder(r *rand.Rand) *recorder {
	rec := &recorder{r: r, every: 1, smooth: r.IntN(5), noise: between(r, 0.5, 2.0), memory: between(r, 0.4, 0.92)}
	if r.Float64() < 0.3 {
		rec.every = 2 + r.IntN(4)
	}
	return rec
}

func (rec *recorder) record(hr []float64, script []spell, start time.Time) *schemas.Trace {
	r := rec.r
	tr := &schemas.Trace{Start: start}
	noise, drop := 0.0, math.Sqrt(1-rec.memory*rec.memory)
	gps, wander := 0.0, 0.0
	spellAt := 0
	next := 0
	for k := range hr {
		noise = rec.memory*noise + drop*rec.noise*r.NormFloat64()
		for spellAt+1 < len(script) && float64(k) >= script[spellAt].to {
			spellAt++
		}
		sp := &script[spellAt]
		wander = 0.9*wander + 0.05*r.NormFloat64()
		gps += (max(0, sp.speed*(1+0.01*r.NormFloat64())+wander*min(sp.speed, 1)) - gps) / 2
		if k < next {
			continue
		}
		next = k + rec.every
		if rec.smart {
			next = k + 1 + r.IntN(rec.every)
		}
		m := schemas.Sample{At: time.Duration(k) * time.Second}
		m.HR = float32(math.Round(mean(hr, k-rec.smooth, k+1) + noise))
		if rec.speed {
			m.Speed, m.Have = float32(math.Round(gps*1000)/1000), m.Have|schemas.HasSpeed
		}
		if rec.cadence {
			c := 0.0
			if sp.steps > 0 {
				c = math.Round(sp.steps + 1.5*r.NormFloat64())
			}
			m.Cadence, m.Have = float32(c), m.Have|schemas.HasCadence
		}
		tr.Samples = append(tr.Samples, m)
	}
	return tr
}
