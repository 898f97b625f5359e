package simulate

import (
	"math"
	"math/rand/v2"
	"time"

	"canter.example/schemas"
)

// fault spoils a recording in one way, at a severity of 1 to 3.
type fault struct {
	r          *rand.Rand
	body       *body
	tr         *schemas.Trace
	spells     []spell
	hr         []float64
	rec        *recorder
	severity   int
	start, end float64 // of the test
}

// each calls fn for every sample of [from, to) seconds.
func (f *fault) each(from, to float64, fn func(m *schemas.Sample)) {
	for i := range f.tr.Samples {
		if at := f.tr.Samples[i].At.Seconds(); at >= from && at < to {
			fn(&f.tr.Samples[i])
		}
	}
}

// spot picks a stretch of the given length somewhere around the test.
func (f *fault) spot(length float64) (from, to float64) {
	from = between(f.r, f.start-60, f.end+70-length/2)
	return from, from + length
}

func (f *fault) level(v ...float64) float64 { return v[f.severity-1] }

func (f *fault) apply(name string) {
	r := f.r
	switch name {
	case "dropouts":
		for range int(f.level(2, 4, 7)) {
			from, to := f.spot(between(r, 2, f.level(8, 25, 60)))
			f.keep(func(m schemas.Sample) bool { t := m.At.Seconds(); return t < from || t >= to })
		}
	case "zeros":
		for range int(f.level(3, 6, 10)) {
			from, to := f.spot(between(r, 1, f.level(6, 20, 50)))
			f.each(from, to, func(m *schemas.Sample) { m.HR = 0 })
		}
	case "spikes":
		share := f.level(0.01, 0.04, 0.10)
		f.each(0, 1e9, func(m *schemas.Sample) {
			if r.Float64() < share {
				m.HR = float32(math.Round(float64(m.HR) + sign(r)*between(r, 15, 70)))
			}
		})
	case "strap slip":
		from, to := f.spot(f.level(20, 60, 150) * between(r, 0.7, 1.3))
		by := sign(r) * between(r, f.level(8, 15, 25), f.level(15, 30, 50))
		f.each(from, to, func(m *schemas.Sample) { m.HR += float32(by) })
	case "step that stays":
		from, _ := f.spot(10)
		by := sign(r) * between(r, f.level(6, 12, 25), f.level(12, 25, 45))
		f.each(from, 1e9, func(m *schemas.Sample) { m.HR += float32(by) })
	case "stuck value":
		from, to := f.spot(f.level(25, 70, 180) * between(r, 0.8, 1.2))
		held := float32(0)
		f.each(from, to, func(m *schemas.Sample) {
			if held == 0 {
				held = m.HR
			}
			m.HR = held
		})
	case "halving", "doubling":
		factor := float32(0.5)
		if name == "doubling" {
			factor = 2
		}
		for range int(f.level(1, 2, 3)) {
			from, to := f.spot(between(r, 8, f.level(15, 40, 100)))
			f.each(from, to, func(m *schemas.Sample) { m.HR = float32(math.Round(float64(m.HR * factor))) })
		}
	case "cadence lock", "cadence lock, no cadence":
		from := between(r, f.start-2, f.end-40)
		to := from + f.level(30, 80, 250)
		steps := between(r, 158, 178)
		i := 0
		f.each(from, to, func(m *schemas.Sample) {
			for i+1 < len(f.spells) && m.At.Seconds() >= f.spells[i].to {
				i++
			}
			switch {
			case m.Have&schemas.HasCadence != 0:
				if m.Cadence > 60 {
					m.HR = float32(math.Round(float64(m.Cadence) + 0.7*r.NormFloat64()))
				}
			case f.spells[i].run:
				m.HR = float32(math.Round(steps + 1.2*r.NormFloat64()))
			}
		})
	case "ramps":
		from, to := f.spot(f.level(30, 60, 120))
		by := sign(r) * f.level(10, 22, 45)
		f.each(from, to, func(m *schemas.Sample) {
			m.HR += float32(math.Round(by * math.Sin(math.Pi*(m.At.Seconds()-from)/(to-from))))
		})
	case "above maximum":
		for range int(f.level(1, 2, 4)) {
			from, to := f.spot(between(r, 3, f.level(8, 25, 60)))
			f.each(from, to, func(m *schemas.Sample) { m.HR = float32(math.Round(f.body.maximum + between(r, 8, 35))) })
		}
	case "noise bursts":
		for range int(f.level(1, 2, 4)) {
			from, to := f.spot(between(r, 8, f.level(15, 30, 70)))
			f.each(from, to, func(m *schemas.Sample) {
				m.HR = float32(math.Round(float64(m.HR) + f.level(10, 18, 30)*r.NormFloat64()))
			})
		}
	case "duplicate times":
		f.duplicate(f.level(0.02, 0.08, 0.2))
	case "backward times":
		f.swap(f.level(0.02, 0.08, 0.2))
	case "ectopic beats":
		f.beats(f.level(0.01, 0.04, 0.1))
	case "low reading":
		// A strap that reads low all along, more so with effort.
		by := f.level(0.97, 0.93, 0.85)
		from := between(r, f.start-20, f.start+60)
		f.each(from, from+f.level(60, 120, 200), func(m *schemas.Sample) { m.HR = float32(math.Round(float64(m.HR) * by)) })
	case "strap late":
		from := f.start + f.level(-15, 25, 70)*between(r, 0.8, 1.2)
		if r.Float64() < 0.5 {
			f.each(0, from, func(m *schemas.Sample) { m.HR = 0 })
		} else {
			f.keep(func(m schemas.Sample) bool { return m.At.Seconds() >= from })
		}
	}
	for i := range f.tr.Samples {
		m := &f.tr.Samples[i]
		if m.HR < 0 || m.HR > 254 {
			m.HR = 0
		}
	}
}

func (f *fault) keep(ok func(schemas.Sample) bool) {
	out := f.tr.Samples[:0]
	for _, m := range f.tr.Samples {
		if ok(m) {
			out = append(out, m)
		}
	}
	f.tr.Samples = out
}

func (f *fault) duplicate(share float64) {
	var out []schemas.Sample
	for _, m := range f.tr.Samples {
		out = append(out, m)
		if f.r.Float64() < share {
			m.HR += float32(f.r.IntN(5) - 2)
			out = append(out, m)
		}
	}
	f.tr.Samples = out
}

// swap makes the clock go back by some samples' time now and then.
func (f *fault) swap(share float64) {
	s := f.tr.Samples
	for i := 4; i < len(s); i++ {
		if f.r.Float64() < share {
			back := 1 + f.r.IntN(3)
			s[i], s[i-back] = s[i-back], s[i]
		}
	}
}

// beats replaces heart rate by beat intervals with early beats among them.
func (f *fault) beats(share float64) {
	r := f.r
	for i := range f.tr.Samples {
		f.tr.Samples[i].HR = 0
	}
	noise := 0.0
	for t := 0.5; int(t) < len(f.hr); {
		noise = f.rec.memory*noise + math.Sqrt(1-f.rec.memory*f.rec.memory)*f.rec.noise*r.NormFloat64()
		rr := 60 / (f.hr[int(t)] + noise)
		add := func(v float64) {
			t += v
			f.tr.RR = append(f.tr.RR, schemas.RR{At: time.Duration(t * float64(time.Second)), Interval: time.Duration(v * float64(time.Second))})
		}
		if r.Float64() < share {
			early := between(r, 0.55, 0.75)
			add(rr * early)
			add(rr * (2 - early))
			continue
		}
		add(rr)
	}
}

func sign(r *rand.Rand) float64 {
	if r.Float64() < 0.5 {
		return -1
	}
	return 1
}
