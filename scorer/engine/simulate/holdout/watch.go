package holdout

import (
	"math"
	"math/rand/v2"
	"time"

	"canter.example/schemas"
)

// watch is an invented recorder.
type watch struct {
	r        *rand.Rand
	optical  bool
	averages int     // s of readings that one shown value is made of
	late     int     // s
	every    int     // s between samples; 0: only when something changes, 1 to 7 s
	noise    float64 // bpm
	speed    bool
	cadence  bool
}

func newWatch(r *rand.Rand) *watch {
	w := &watch{r: r, averages: whole(r, 1, 6), late: whole(r, 0, 2), every: []int{1, 1, 1, 1, 2, 3, 5, 0, 0}[r.IntN(9)], noise: within(r, 0.2, 0.9)}
	if r.Float64() < 0.25 {
		w.optical = true
		w.averages, w.late, w.noise = whole(r, 5, 12), whole(r, 0, 3), within(r, 0.6, 1.8)
	}
	w.speed = r.Float64() < 0.4
	w.cadence = w.speed && r.Float64() < 0.5
	return w
}

// record stores what the watch would of a heart rate.
func (w *watch) record(hr []float64, acts []act, start time.Time) *schemas.Trace {
	tr := &schemas.Trace{Start: start}
	shown := make([]float64, len(hr))
	slow := 0.0
	for k := range hr {
		memory := 0.6
		if w.optical {
			memory = 0.95
		}
		slow = memory*slow + w.noise*math.Sqrt(1-memory*memory)*w.r.NormFloat64()
		at := k - w.late
		shown[k] = math.Round(mean(hr, at-w.averages+1, at+1) + slow)
	}
	i, left, pace := 0, acts[0].seconds, 0.0
	next, last := 0, -99.0
	for k := range hr {
		for left == 0 {
			i++
			left = acts[i].seconds
		}
		left--
		pace += (acts[i].pace*(1+0.015*w.r.NormFloat64()) - pace) / 2.5
		if w.every > 0 && k < next {
			continue
		}
		if w.every == 0 && k < next && math.Abs(shown[k]-last) < 3 {
			continue
		}
		next, last = k+max(1, w.every), shown[k]
		if w.every == 0 {
			next = k + whole(w.r, 2, 7)
		}
		m := schemas.Sample{At: time.Duration(k) * time.Second, HR: float32(shown[k])}
		if w.speed {
			m.Speed, m.Have = float32(max(0, pace)), schemas.HasSpeed
		}
		if w.cadence {
			m.Cadence, m.Have = float32(math.Round(acts[i].steps)), m.Have|schemas.HasCadence
		}
		tr.Samples = append(tr.Samples, m)
	}
	return tr
}

// spoil makes a fault of a kind near a test from start to end, in seconds.
func spoil(r *rand.Rand, tr *schemas.Trace, kind string, severity, start, end int) {
	grade := float64(severity)
	each := func(from, to float64, fn func(m *schemas.Sample, at float64)) {
		for i := range tr.Samples {
			if at := tr.Samples[i].At.Seconds(); at >= from && at < to && tr.Samples[i].HR > 0 {
				fn(&tr.Samples[i], at)
			}
		}
	}
	add := func(m *schemas.Sample, v float64) { m.HR = float32(math.Round(max(0, float64(m.HR)+v))) }
	side := float64(1 - 2*r.IntN(2))
	s, e := float64(start), float64(end)
	switch kind {
	case "slow contact": // wanders off and back, smoothly
		from := within(r, s+30, e+50)
		long := within(r, 20, 50*grade)
		by := side * within(r, 6, 12*grade)
		each(from, from+long, func(m *schemas.Sample, at float64) { add(m, by*sq(math.Sin(math.Pi*(at-from)/long))) })
	case "drop in recovery": // a hump or a hollow inside the recovery only
		from := e + within(r, 5, 45)
		long := within(r, 15, 40)
		by := side * within(r, 6, 12*grade)
		each(from, from+long, func(m *schemas.Sample, at float64) { add(m, by*sq(math.Sin(math.Pi*(at-from)/long))) })
	case "new level": // and it stays
		from := within(r, s-60, e+60)
		by := side * within(r, 3+2*grade, 6+5*grade)
		each(from, 1e9, func(m *schemas.Sample, _ float64) { add(m, by) })
	case "step lock": // optical: the step rate instead of the heart's
		from := within(r, s, e-30)
		to := from + within(r, 20, 60*grade)
		steps := within(r, 156, 182)
		each(from, min(to, e+5), func(m *schemas.Sample, at float64) {
			pull := min(1, min(at-from, 8)/8)
			m.HR = float32(math.Round((1-pull)*float64(m.HR) + pull*(steps+r.NormFloat64())))
		})
	case "lost and found": // readings vanish
		for range 1 + severity*2 {
			from := within(r, s-30, e+75)
			to := from + within(r, 3, 12*grade)
			each(from, to, func(m *schemas.Sample, _ float64) { m.HR = 0 })
		}
	case "frozen": // repeats the last value, then leaps
		from := within(r, s, e+40)
		to := from + within(r, 10, 30*grade)
		held := float32(0)
		each(from, to, func(m *schemas.Sample, _ float64) {
			if held == 0 {
				held = m.HR
			}
			m.HR = held
		})
	case "dry strap": // nonsense until sweat makes contact
		until := s + within(r, -60, 40*grade-40)
		level := within(r, 40, 210)
		each(0, until, func(m *schemas.Sample, _ float64) {
			level += 6 * r.NormFloat64()
			level = min(max(level, 35), 220)
			m.HR = float32(math.Round(level))
		})
	case "lagging": // the watch falls behind in steep changes
		hr, was := 0.0, 0.0
		each(0, 1e9, func(m *schemas.Sample, at float64) {
			if hr == 0 {
				hr = float64(m.HR)
			}
			hr += (float64(m.HR) - hr) * (1 - math.Exp((was-at)/(4*grade)))
			was = at
			m.HR = float32(math.Round(hr))
		})
	case "drifting gain": // reads too low or too high, more and more
		by := side * within(r, 0.01, 0.03) * grade
		each(s, e, func(m *schemas.Sample, at float64) { m.HR = float32(math.Round(float64(m.HR) * (1 + by*(at-s)/(e-s)))) })
		each(e, 1e9, func(m *schemas.Sample, _ float64) { m.HR = float32(math.Round(float64(m.HR) * (1 + by))) })
	}
	for i := range tr.Samples {
		if tr.Samples[i].HR > 250 {
			tr.Samples[i].HR = 0
		}
	}
}

func sq(x float64) float64 { return x * x }

func mean(x []float64, a, b int) float64 {
	a = max(a, 0)
	b = max(min(b, len(x)), a+1)
	sum := 0.0
	for _, v := range x[a:b] {
		sum += v
	}
	return sum / float64(b-a)
}
