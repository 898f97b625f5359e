package holdout

import (
	"math"
	"math/rand/v2"
	"time"

	"canter.example/schemas"
	"canter.example/scorer/engine/simulate"
)

// Unseen faults leave a trace that a sound heart could have made: a gain that
// drifts, a watch that lags. They are shown in rows of their own and count in
// no sum.
const Unseen simulate.Group = "unseen"

// Scenarios that can be made.
var Scenarios = []simulate.Scenario{
	{Name: "plain", Group: simulate.Clean, Severities: 1},
	{Name: "planned", Group: simulate.Clean, Severities: 1},
	{Name: "cut after the minute", Group: simulate.Clean, Severities: 1},
	{Name: "at the end", Group: simulate.Clean, Severities: 1},

	{Name: "slow contact", Group: simulate.Artefact, Severities: 3},
	{Name: "drop in recovery", Group: simulate.Artefact, Severities: 3},
	{Name: "new level", Group: simulate.Artefact, Severities: 3},
	{Name: "step lock", Group: simulate.Artefact, Severities: 3},
	{Name: "lost and found", Group: simulate.Artefact, Severities: 3},
	{Name: "frozen", Group: simulate.Artefact, Severities: 3},
	{Name: "dry strap", Group: simulate.Artefact, Severities: 3},
	{Name: "lagging", Group: Unseen, Severities: 2},
	{Name: "drifting gain", Group: Unseen, Severities: 2},

	{Name: "jog just before", Group: simulate.Trap, Severities: 1},
	{Name: "walks on after", Group: simulate.Trap, Severities: 1},
	{Name: "games at once", Group: simulate.Trap, Severities: 1},
	{Name: "recorder on late", Group: simulate.Trap, Severities: 1},
	{Name: "stopped early", Group: simulate.Trap, Severities: 1},

	{Name: "games only", Group: simulate.NoTest, Severities: 1},
	{Name: "long jog", Group: simulate.NoTest, Severities: 1},
	{Name: "short jog", Group: simulate.NoTest, Severities: 1},
	{Name: "fartlek", Group: simulate.NoTest, Severities: 1},
	{Name: "stretching only", Group: simulate.NoTest, Severities: 1},
}

// Make invents one session; the same arguments give the same session.
func Make(sc simulate.Scenario, severity int, seed uint64) *simulate.Session {
	name := uint64(1099511628211)
	for _, c := range []byte(sc.Name) {
		name = name*31 + uint64(c)
	}
	r := rand.New(rand.NewPCG(seed^0x9e3779b97f4a7c15, name+uint64(severity)))
	h := newHeart(r)
	seconds := 60 * whole(r, 3, 6)
	kmh := float64(whole(r, 20, 28)) / 2
	p := &schemas.Protocol{
		ID: "held-out", Name: "Held-out run", Regimen: schemas.Continuous, Progression: schemas.Fixed,
		Stages: []schemas.Stage{{Duration: time.Duration(seconds) * time.Second, SpeedKMH: schemas.Num(kmh)}},
		HRex:   schemas.FinalMean, HRexWindow: time.Duration(30*whole(r, 1, 2)) * time.Second,
		Recovery: []time.Duration{time.Minute}, Posture: schemas.Standing,
		EndWindow: 5 * time.Second, RecoveryWindow: 5 * time.Second, BandLow: 0.75, BandHigh: 0.85, MinCoverage: 0.8,
	}
	if sc.Name == "walks on after" {
		p.Posture = schemas.Walking
	}
	p.Version = p.Digest()
	level := within(r, 0.71, 0.88) * h.top
	d := &day{r: r, pace: kmh / 3.6, steps: within(r, 156, 180), work: (level - h.rest) / (h.top - h.rest)}
	s := &simulate.Session{Protocol: p, HRmax: schemas.HRmax{BPM: schemas.Num(math.Round(h.top + within(r, -3, 5))), Source: schemas.HRmaxMeasured}}
	s.Truth = simulate.Truth{Scenario: sc, Severity: severity, Seed: seed, Seconds: float64(seconds), Recovered: true}
	if r.IntN(4) == 0 {
		s.HRmax = schemas.HRmax{BPM: schemas.Num(math.Round(h.top + 8*r.NormFloat64())), Source: schemas.HRmaxEstimated, SEE: schemas.Num(10.8)}
	}
	at := d.live(sc.Name, seconds, &s.Truth)
	hr := h.beat(r, d.acts)
	start := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC).Add(time.Duration(r.IntN(200*24*3600)) * time.Second)
	w := newWatch(r)
	s.Trace = w.record(hr, d.acts, start)
	if at < 0 {
		return s
	}
	end := at + int(s.Truth.Seconds)
	s.Truth.Starts = []time.Time{start.Add(time.Duration(at) * time.Second)}
	s.Truth.HRex = []float64{mean(hr, end-int(p.HRexWindow.Seconds()), end)}
	s.Truth.HRR = []float64{mean(hr, end-5, end) - (hr[end+57]/2+hr[end+58]+hr[end+59]+hr[end+60]+hr[end+61]+hr[end+62]/2)/5}
	if sc.Name == "planned" || (sc.Group != simulate.Clean && r.IntN(2) == 0) {
		s.Around = s.Truth.Starts[0].Add(time.Duration(whole(r, -240, 240)) * time.Second)
		s.Within = 15 * time.Minute
	}
	switch sc.Name {
	case "cut after the minute":
		cut(s.Trace, 0, end+80)
	case "recorder on late":
		cut(s.Trace, at+whole(r, -8, 50), 1<<30)
	default:
		if sc.Group == simulate.Artefact || sc.Group == Unseen {
			spoil(r, s.Trace, sc.Name, severity, at, end)
		}
	}
	return s
}

// cut keeps the samples of [from, to) seconds.
func cut(tr *schemas.Trace, from, to int) {
	out := tr.Samples[:0]
	for _, m := range tr.Samples {
		if t := int(m.At.Seconds()); t >= from && t < to {
			out = append(out, m)
		}
	}
	tr.Samples = out
}

// live writes the acts of a scenario and returns the test's start, -1 without.
func (d *day) live(name string, seconds int, truth *simulate.Truth) int {
	r := d.r
	rest := whole(r, 78, 200)
	switch name {
	case "games only":
		d.warm()
		d.games(1500, 3000)
		return -1
	case "long jog":
		d.warm()
		d.do(act{seconds: int(float64(seconds) * within(r, 1.45, 5)), work: d.work, pace: d.pace, steps: d.steps, uneven: 0.006, running: true})
		d.stand(80, 200)
		return -1
	case "short jog":
		d.warm()
		d.do(act{seconds: int(float64(seconds) * within(r, 0.3, 0.7)), work: d.work, pace: d.pace, steps: d.steps, uneven: 0.006, running: true})
		d.stand(80, 200)
		d.games(300, 900)
		return -1
	case "fartlek":
		d.warm()
		for end := d.now + whole(r, 900, 1800); d.now < end; {
			d.do(act{seconds: whole(r, 20, 120), work: d.work * within(r, 0.6, 1.15), pace: d.pace, steps: d.steps, uneven: 0.01, running: true})
		}
		d.stand(80, 200)
		return -1
	case "stretching only":
		d.walk(60, 200)
		d.stretching(900, 1800)
		return -1
	case "at the end":
		d.warm()
		d.games(600, 1500)
		d.walk(60, 150)
		d.stand(60, 120)
		return d.test(seconds, rest)
	case "jog just before":
		d.warm()
		d.jog(120, 300)
		d.walk(15, 50)
	case "walks on after":
		d.warm()
		at := d.now
		d.do(act{seconds: seconds, work: d.work, pace: d.pace, steps: d.steps, uneven: 0.004, running: true})
		d.do(act{seconds: rest, work: within(r, 0.14, 0.24), pace: 1.3, steps: 110, uneven: 0.01})
		d.games(300, 900)
		return at
	case "games at once":
		d.warm()
		at := d.now
		d.do(act{seconds: seconds, work: d.work, pace: d.pace, steps: d.steps, uneven: 0.004, running: true})
		d.walk(8, 30)
		d.games(300, 900)
		truth.Recovered = false
		return at
	case "stopped early":
		d.warm()
		truth.Seconds = math.Round(float64(seconds) * within(r, 0.6, 0.95))
		at := d.test(int(truth.Seconds), rest)
		d.games(300, 900)
		return at
	default:
		d.warm()
		if r.IntN(3) == 0 { // in the middle
			d.games(300, 900)
			d.stand(80, 180)
		}
	}
	at := d.test(seconds, rest)
	if r.IntN(4) > 0 {
		d.walk(20, 120)
		d.games(300, 1500)
	}
	return at
}
