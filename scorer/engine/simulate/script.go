package simulate

import (
	"math/rand/v2"

	"canter.example/schemas"
)

// writer puts spells one after another.
type writer struct {
	r        *rand.Rand
	protocol *schemas.Protocol
	spells   []spell
	now      float64
	speed    float64 // m/s of the test
	demand   float64 // of the test
	steps    float64
}

func (w *writer) add(seconds float64, s spell) {
	s.from, s.to = w.now, w.now+float64(int(seconds))
	w.now = s.to
	w.spells = append(w.spells, s)
}

func (w *writer) stand(seconds float64) {
	w.add(seconds, spell{demand: between(w.r, 0, 0.05), wobble: 0.015})
}

func (w *writer) walk(seconds float64) {
	w.add(seconds, spell{demand: between(w.r, 0.06, 0.22), speed: between(w.r, 1.0, 1.5), steps: between(w.r, 95, 118), wobble: 0.03})
}

// run at a share of the test's intensity.
func (w *writer) run(seconds, share float64) {
	w.add(seconds, spell{demand: w.demand * share, speed: w.speed * (0.35 + 0.65*share), steps: w.steps - 8*(1-share), run: true, wobble: 0.006})
}

// rest is standing or walking.
func (w *writer) rest(seconds float64) {
	if w.r.Float64() < 0.5 {
		w.stand(seconds)
	} else {
		w.walk(seconds)
	}
}

// drills are bursts of play of changing intensity.
func (w *writer) drills(seconds float64) {
	for end := w.now + seconds; w.now < end; {
		w.add(between(w.r, 5, 45), spell{demand: between(w.r, 0.3, 0.95), speed: between(w.r, 1.5, 5.5), steps: between(w.r, 130, 185), run: true, wobble: 0.08})
		w.add(between(w.r, 5, 50), spell{demand: between(w.r, 0.05, 0.5), speed: between(w.r, 0, 1.8), steps: between(w.r, 0, 115), wobble: 0.05})
	}
}

// away is a length in seconds that nobody would take for the test's.
func (w *writer) away(low, high, test float64) float64 {
	for {
		if v := between(w.r, low, high); v < 0.8*test || v > 1.25*test {
			return v
		}
	}
}

// warmUp is what comes before most tests.
func (w *writer) warmUp() {
	w.stand(between(w.r, 30, 240))
	w.walk(between(w.r, 20, 200))
	if w.r.Float64() < 0.4 {
		w.drills(between(w.r, 60, 240))
		w.rest(between(w.r, 40, 150))
	}
	w.rest(between(w.r, 20, 120))
}

// test is the run itself and its quiet recovery; it returns the start.
func (w *writer) test(seconds, recovery float64) float64 {
	at := w.now
	w.run(seconds, 1)
	w.stand(recovery)
	return at
}

// session is the training after the test.
func (w *writer) session() {
	for range 1 + w.r.IntN(3) {
		w.drills(between(w.r, 200, 700))
		w.rest(between(w.r, 40, 180))
	}
}

// stages runs a protocol of several stages and its quiet recovery. The highest
// speed takes a fifth more than the test's demand when there are rests between.
func (w *writer) stages(p *schemas.Protocol, recovery float64) float64 {
	at, top := w.now, 0.0
	for _, st := range p.Stages {
		top = max(top, st.SpeedKMH.Or(0))
	}
	most := 1.0
	if p.Regimen == schemas.Intermittent {
		most = 1.2
	}
	w.speed = top / 3.6
	for _, st := range p.Stages {
		if st.Rest {
			w.add(st.Duration.Seconds(), spell{demand: w.demand * 0.35, speed: 0.4, steps: 40, wobble: 0.01})
			continue
		}
		share := st.SpeedKMH.Or(top) / top
		w.add(st.Duration.Seconds(), spell{demand: w.demand * most * share, speed: w.speed * share, steps: w.steps, run: true, wobble: 0.006})
	}
	w.stand(recovery)
	return at
}
