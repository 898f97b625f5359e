package judge

import "math/rand/v2"

// Plan is what the athlete does, at each whole second of the session.
type Plan struct {
	Effort  []float64 // 0 standing, 1 the test's load
	Speed   []float64 // m/s
	Tests   []Test
	Laps    []int // seconds at which somebody pressed the button
	Planned int   // second at which the first test was to begin, as it turned out
}

// Test is a test in a plan.
type Test struct {
	Start, End int
	Full       bool // run to its end
	Rested     bool // followed by a recovery in which HRR can be read
}

// add appends seconds of one activity.
func (p *Plan) add(n int, effort, speed float64) {
	for range n {
		p.Effort = append(p.Effort, effort)
		p.Speed = append(p.Speed, speed)
	}
}

// now is the second that comes next.
func (p *Plan) now() int { return len(p.Effort) }

func (p *Plan) stand(r *rand.Rand, n int) {
	p.add(n, between(r, -0.03, 0.05), 0)
}

func (p *Plan) walk(r *rand.Rand, n int) {
	p.add(n, between(r, 0.14, 0.24), between(r, 1.2, 1.6))
}

// run is steady running whose effort wanders by a few per cent, as it does on grass.
func (p *Plan) run(r *rand.Rand, n int, effort, speed float64) {
	w := 0.0
	for range n {
		w = 0.97*w + 0.004*r.NormFloat64()
		p.add(1, effort*(1+w), speed*(1+w/2))
	}
}

// jog is easy running at a share of the test's speed.
func (p *Plan) jog(r *rand.Rand, n int, f *Form) {
	e := between(r, 0.5, 0.75)
	p.run(r, n, e, f.speedAt(e))
}

// bouts are short actions of random length and effort: mobility, passing,
// drills and games differ only in how hard and how long they are.
func (p *Plan) bouts(r *rand.Rand, n int, lo, hi float64, f *Form) {
	end := p.now() + n
	for p.now() < end {
		e := between(r, lo, hi)
		p.add(min(secs(r, 3, 18), end-p.now()), e, f.speedAt(e)*between(r, 0.6, 1.1))
	}
}

func (p *Plan) mobility(r *rand.Rand, n int, f *Form) { p.bouts(r, n, 0, 0.35, f) }
func (p *Plan) passes(r *rand.Rand, n int, f *Form)   { p.bouts(r, n, 0.1, 0.6, f) }
func (p *Plan) drills(r *rand.Rand, n int, f *Form)   { p.bouts(r, n, 0.2, 1.35, f) }
func (p *Plan) games(r *rand.Rand, n int, f *Form)    { p.bouts(r, n, 0.5, 1.4, f) }

// strides are short fast runs with a walk back.
func (p *Plan) strides(r *rand.Rand, count int) {
	for range count {
		p.add(secs(r, 6, 11), between(r, 1.5, 1.9), between(r, 5.5, 7))
		p.walk(r, secs(r, 15, 30))
	}
}

// test runs the form's load, cut after at most n seconds.
func (p *Plan) test(r *rand.Rand, f *Form, n int) *Test {
	start := p.now()
	for _, s := range f.Load {
		p.run(r, min(s.Seconds, start+n-p.now()), s.Effort, s.Speed)
	}
	p.Tests = append(p.Tests, Test{Start: start, End: p.now(), Full: n >= f.Seconds(), Rested: true})
	return &p.Tests[len(p.Tests)-1]
}

// warmUp is what often comes before: some of talk, mobility, passes, and an
// easy jog that is over well before the test.
func (p *Plan) warmUp(r *rand.Rand, f *Form) {
	p.stand(r, secs(r, 10, 150))
	if r.Float64() < 0.35 {
		p.jog(r, unlike(secs(r, 100, 280), f.Seconds()), f)
		p.walk(r, secs(r, 40, 100))
	}
	if r.Float64() < 0.7 {
		p.mobility(r, secs(r, 60, 300), f)
	}
	if r.Float64() < 0.5 {
		p.passes(r, secs(r, 60, 300), f)
	}
	p.pause(r, secs(r, 45, 200))
}

// unlike keeps n seconds of other running 15 % away from the test's length:
// a steady run of just that length may be taken for the test by anybody. It
// is a kind of its own where there is no test.
func unlike(n, test int) int {
	if n*100 > test*85 && n*100 < test*115 {
		return test * 3 / 4
	}
	return n
}

// pause is what lies between the last piece and the test: gathering, talk, lining up.
func (p *Plan) pause(r *rand.Rand, n int) {
	if n > 60 && r.Float64() < 0.5 {
		p.walk(r, n/3)
		n -= n / 3
	}
	p.stand(r, n)
}

// recover is standing for long enough to read HRR.
func (p *Plan) recover(r *rand.Rand) { p.stand(r, secs(r, 72, 210)) }

// after is the rest of the recording: nothing, or the training itself.
func (p *Plan) after(r *rand.Rand, f *Form) {
	switch {
	case r.Float64() < 0.35:
		p.walk(r, secs(r, 5, 120))
	default:
		p.walk(r, secs(r, 10, 60))
		p.training(r, f)
	}
}

// training is drills, games and talk, 4 to 20 min of it.
func (p *Plan) training(r *rand.Rand, f *Form) {
	for range secs(r, 1, 4) {
		switch r.IntN(4) {
		case 0:
			p.passes(r, secs(r, 90, 300), f)
		case 1:
			p.drills(r, secs(r, 90, 300), f)
		case 2:
			p.games(r, secs(r, 120, 300), f)
		default:
			p.strides(r, secs(r, 3, 7))
		}
		p.mark()
		p.stand(r, secs(r, 30, 120))
	}
}

// mark notes a press of the lap button.
func (p *Plan) mark() { p.Laps = append(p.Laps, p.now()) }

// cleanPlan is a session as planned.
func cleanPlan(r *rand.Rand, f *Form) *Plan {
	p := &Plan{}
	p.warmUp(r, f)
	p.test(r, f, f.Seconds())
	p.recover(r)
	p.after(r, f)
	return p
}
