package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"canter.example/schemas"
)

// Group is what kind of trouble a scenario holds.
type Group string

// Groups of scenarios.
const (
	Clean    Group = "clean"
	Artefact Group = "artefact"
	Trap     Group = "trap"
	NoTest   Group = "no test"
	// Kinds are clean sessions with the other kinds of protocol.
	Kinds Group = "other kinds"
)

// Scenario names one kind of session.
type Scenario struct {
	Name  string
	Group Group
	// Severities: 1 for scenarios without grades, else 3 (slight, clear, heavy).
	Severities int
}

// Scenarios are all that can be made.
var Scenarios = []Scenario{
	{"clean", Clean, 1}, {"clean, with speed", Clean, 1}, {"clean, planned time", Clean, 1},

	{"dropouts", Artefact, 3}, {"zeros", Artefact, 3}, {"spikes", Artefact, 3},
	{"strap slip", Artefact, 3}, {"step that stays", Artefact, 3}, {"stuck value", Artefact, 3},
	{"halving", Artefact, 3}, {"doubling", Artefact, 3}, {"cadence lock", Artefact, 3},
	{"cadence lock, no cadence", Artefact, 3}, {"ramps", Artefact, 3}, {"above maximum", Artefact, 3},
	{"noise bursts", Artefact, 3}, {"irregular sampling", Artefact, 3}, {"duplicate times", Artefact, 3},
	{"backward times", Artefact, 3}, {"ectopic beats", Artefact, 3}, {"low reading", Artefact, 3},

	{"jog before", Trap, 1}, {"effort before", Trap, 1}, {"shorter run before", Trap, 1},
	{"drills straight after", Trap, 1}, {"cut short", Trap, 3}, {"two tests", Trap, 1},
	{"strap late", Trap, 3}, {"high at start", Trap, 1}, {"clock off", Trap, 1},

	{"long run", NoTest, 1}, {"short run", NoTest, 1}, {"intervals", NoTest, 1}, {"match", NoTest, 1},
	{"walk", NoTest, 1}, {"rest", NoTest, 1}, {"changing run", NoTest, 1}, {"drills only", NoTest, 1},

	{"continuous-incremental", Kinds, 1}, {"continuous-variable", Kinds, 1},
	{"intermittent-fixed", Kinds, 1}, {"intermittent-variable", Kinds, 1},
}

// Truth is what really happened in a session.
type Truth struct {
	Scenario Scenario
	Severity int
	Seed     uint64
	// Starts of the tests; empty when there is none.
	Starts []time.Time
	// HRex and HRR (at 60 s) of each test in bpm, from heart rate without
	// noise at the true start.
	HRex []float64
	HRR  []float64
	// Seconds that the run lasted; shorter than the protocol's when cut short.
	Seconds float64
	// Recovered is false where the athlete did not rest for HRR.
	Recovered bool
}

// Session is one made-up trace with what the scorer may know and the truth.
type Session struct {
	Trace    *schemas.Trace
	Protocol *schemas.Protocol
	HRmax    schemas.HRmax
	// Around and Within are the planned time where the scenario has one.
	Around time.Time
	Within time.Duration
	Truth  Truth
}

// Make invents one session.
func Make(sc Scenario, severity int, seed uint64) *Session {
	r := rand.New(rand.NewPCG(seed, uint64(severity)<<32^hash(sc.Name)))
	b := newBody(r)
	length := []float64{180, 240, 240, 240, 300}[r.IntN(5)]
	window := []time.Duration{30 * time.Second, time.Minute, time.Minute}[r.IntN(3)]
	kmh := math.Round(between(r, 10.5, 14)*2) / 2
	p := &schemas.Protocol{
		ID: "steady", Name: "Steady run", Regimen: schemas.Continuous, Progression: schemas.Fixed,
		Stages: []schemas.Stage{{Duration: time.Duration(length) * time.Second, SpeedKMH: schemas.Num(kmh)}},
		HRex:   schemas.FinalMean, HRexWindow: window, Recovery: []time.Duration{time.Minute},
		Posture: schemas.Standing, EndWindow: 5 * time.Second, RecoveryWindow: 5 * time.Second,
		BandLow: 0.75, BandHigh: 0.85, MinCoverage: 0.8,
	}
	if sc.Group == Kinds {
		length = otherKind(r, p, sc.Name, kmh)
		window = p.HRexWindow
	}
	p.Version = p.Digest()
	target := b.maximum * between(r, 0.72, 0.90)
	w := &writer{r: r, protocol: p, speed: kmh / 3.6, demand: (target - b.standing) / b.reserve, steps: between(r, 158, 178)}
	s := &Session{Protocol: p, HRmax: schemas.HRmax{BPM: schemas.Num(math.Round(b.maximum + between(r, -2, 4))), Source: schemas.HRmaxMeasured}}
	s.Truth = Truth{Scenario: sc, Severity: severity, Seed: seed, Seconds: length, Recovered: true}
	starts := w.play(sc, severity, length, &s.Truth)
	hr := b.live(r, w.spells)
	day := time.Date(2026, 2, 1, 8, 0, 0, 0, time.UTC).Add(time.Duration(r.IntN(300*24)) * time.Hour).Add(time.Duration(r.IntN(3600)) * time.Second)
	for _, at := range starts {
		s.Truth.Starts = append(s.Truth.Starts, day.Add(time.Duration(at)*time.Second))
		end := int(at + s.Truth.Seconds)
		s.Truth.HRex = append(s.Truth.HRex, exercise(hr, int(at), end, int(window.Seconds()), p.HRex))
		s.Truth.HRR = append(s.Truth.HRR, mean(hr, end-5, end)-(mean(hr, end+57, end+62)+mean(hr, end+58, end+63))/2)
	}
	rec := newRecorder(r)
	if sc.Name == "clean, with speed" || (sc.Group != Clean && r.Float64() < 0.25) {
		rec.speed = true
	}
	rec.cadence = sc.Name == "cadence lock" || (rec.speed && r.Float64() < 0.5)
	if sc.Name == "cadence lock, no cadence" {
		rec.cadence = false
	}
	if sc.Name == "irregular sampling" {
		rec.smart, rec.every = true, 1+2*severity
	}
	s.Trace = rec.record(hr, w.spells, day)
	s.plan(r, sc, day, starts)
	f := &fault{r: r, body: b, tr: s.Trace, spells: w.spells, severity: severity, rec: rec, hr: hr}
	if len(starts) > 0 {
		f.start, f.end = starts[0], starts[0]+s.Truth.Seconds
	}
	f.apply(sc.Name)
	return s
}

func (s *Session) plan(r *rand.Rand, sc Scenario, day time.Time, starts []float64) {
	planned := sc.Name == "clean, planned time" || sc.Name == "clock off" || (sc.Group == Trap && r.Float64() < 0.3)
	if !planned || len(starts) == 0 {
		return
	}
	s.Within = 10 * time.Minute
	off := between(r, -150, 150)
	if sc.Name == "clock off" {
		off = between(r, 180, 540)
		if r.Float64() < 0.5 {
			off = -off
		}
	}
	s.Around = day.Add(time.Duration(starts[0]+off) * time.Second)
}

// play writes the script of a scenario and returns when its tests start.
func (w *writer) play(sc Scenario, severity int, length float64, truth *Truth) []float64 {
	r := w.r
	recovery := between(r, 75, 260)
	switch sc.Name {
	case "jog before":
		w.warmUp()
		w.run(w.away(120, 480, length), between(r, 0.8, 1.02))
		w.rest(between(r, 30, 120))
	case "effort before":
		w.warmUp()
		w.drills(between(r, 120, 300))
		w.rest(between(r, 25, 90))
	case "shorter run before":
		w.warmUp()
		w.run(length*between(r, 0.45, 0.78), between(r, 0.95, 1.02))
		w.stand(between(r, 60, 150))
	case "drills straight after":
		w.warmUp()
		at := w.now
		w.run(length, 1)
		w.walk(between(r, 3, 20))
		w.session()
		truth.Recovered = false
		return []float64{at}
	case "cut short":
		w.warmUp()
		truth.Seconds = math.Round(length * []float64{0.93, 0.82, 0.65}[severity-1] * between(r, 0.97, 1.03))
		at := w.test(truth.Seconds, recovery)
		w.session()
		return []float64{at}
	case "two tests":
		w.warmUp()
		a := w.test(length, recovery)
		w.session()
		w.rest(between(r, 60, 200))
		c := w.test(length, recovery)
		w.rest(60)
		return []float64{a, c}
	case "high at start":
		w.warmUp()
		w.run(between(r, 60, 200), between(r, 0.6, 0.95))
		w.walk(between(r, 5, 40))
	default:
		if sc.Group == Kinds {
			w.warmUp()
			at := w.stages(w.protocol, recovery)
			w.session()
			return []float64{at}
		}
		if sc.Group == NoTest {
			w.playNoTest(sc.Name, length)
			return nil
		}
		w.warmUp()
	}
	at := w.test(length, recovery)
	w.session()
	return []float64{at}
}

func (w *writer) playNoTest(name string, length float64) {
	r := w.r
	w.warmUp()
	switch name {
	case "long run":
		w.run(length*between(r, 1.4, 6), between(r, 0.85, 1.05))
		w.stand(between(r, 60, 200))
	case "short run":
		w.run(length*between(r, 0.3, 0.72), between(r, 0.9, 1.05))
		w.stand(between(r, 60, 200))
	case "intervals":
		work := w.away(60, 400, length)
		for range 4 + r.IntN(4) {
			w.run(work, between(r, 1.0, 1.1))
			w.rest(between(r, 45, 150))
		}
	case "match":
		for range 2 {
			w.drills(between(r, 1200, 2400))
			w.rest(between(r, 200, 600))
		}
	case "walk":
		for range 5 {
			w.walk(between(r, 200, 500))
			w.stand(between(r, 20, 120))
		}
	case "rest":
		w.stand(between(r, 600, 2400))
	case "changing run":
		for end := w.now + between(r, 900, 2400); w.now < end; {
			w.run(between(r, 20, 150), between(r, 0.6, 1.15))
		}
		w.stand(between(r, 60, 200))
	}
	if name != "rest" && name != "walk" {
		w.session()
	}
}

func mean(x []float64, a, b int) float64 {
	a, b = max(a, 0), min(b, len(x))
	s := 0.0
	for _, v := range x[a:b] {
		s += v
	}
	return s / float64(max(b-a, 1))
}

func hash(s string) uint64 {
	h := uint64(14695981039346656037)
	for _, c := range []byte(s) {
		h = (h ^ uint64(c)) * 1099511628211
	}
	return h
}

// String names the session for a report.
func (t Truth) String() string {
	return fmt.Sprintf("%s, severity %d, seed %d", t.Scenario.Name, t.Severity, t.Seed)
}

// otherKind changes the protocol to one of another kind, and returns its length
// in seconds.
func otherKind(r *rand.Rand, p *schemas.Protocol, name string, kmh float64) float64 {
	stage := func(seconds int, speed float64, rest bool) {
		st := schemas.Stage{Duration: time.Duration(seconds) * time.Second, Rest: rest}
		if !rest {
			st.SpeedKMH = schemas.Num(speed)
		}
		p.Stages = append(p.Stages, st)
	}
	p.Stages = nil
	switch name {
	case "continuous-incremental":
		p.Progression, p.HRex = schemas.Incremental, schemas.StageMean
		n, seconds := 3+r.IntN(2), 60*(2+r.IntN(2))
		for i := range n {
			stage(seconds, kmh-1.5*float64(n-1-i), false)
		}
	case "continuous-variable":
		p.Progression = schemas.Variable
		for range 3 + r.IntN(2) {
			stage(40, kmh-2, false)
			stage(40, kmh+1, false)
		}
	case "intermittent-fixed":
		p.Regimen, p.HRex = schemas.Intermittent, schemas.PeakMean
		work := []int{15, 20, 30}[r.IntN(3)]
		n := 240 / (work + 15)
		for i := range n {
			stage(work, kmh+2, false)
			if i+1 < n {
				stage(15, 0, true)
			}
		}
	case "intermittent-variable":
		p.Regimen, p.Progression = schemas.Intermittent, schemas.Variable
		for i := range 6 {
			stage(20+10*(i%3), kmh+float64(i%3), false)
			if i < 5 {
				stage(20, 0, true)
			}
		}
	}
	return p.Duration().Seconds()
}

// exercise is HRex of heart rate without noise by the protocol's method.
func exercise(hr []float64, at, end, window int, method schemas.HRexMethod) float64 {
	best := mean(hr, end-window, end)
	if method == schemas.PeakMean {
		for k := at; k+window <= end; k++ {
			best = max(best, mean(hr, k, k+window))
		}
	}
	return best
}
