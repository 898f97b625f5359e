package judge

import "math/rand/v2"

// nones are sessions without a test.
var nones = []struct {
	name string
	plan func(*rand.Rand, *Form, *Plan)
}{
	{"easy run", func(r *rand.Rand, f *Form, p *Plan) {
		p.jog(r, int(float64(f.Seconds())*between(r, 1.8, 4)), f)
		p.recover(r)
	}},
	{"easy run as long as the test", func(r *rand.Rand, f *Form, p *Plan) {
		p.jog(r, f.Seconds()+secs(r, -8, 8), f)
		p.recover(r)
		p.after(r, f)
	}},
	{"run at the test's load, twice as long or more", func(r *rand.Rand, f *Form, p *Plan) {
		e := between(r, 0.93, 1.07)
		p.run(r, int(float64(f.Seconds())*between(r, 2, 4)), e, f.speedAt(e))
		p.recover(r)
	}},
	{"run at the test's load, too short", func(r *rand.Rand, f *Form, p *Plan) {
		e := between(r, 0.93, 1.07)
		p.run(r, int(float64(f.Seconds())*between(r, 0.45, 0.72)), e, f.speedAt(e))
		p.recover(r)
		p.after(r, f)
	}},
	{"short intervals", func(r *rand.Rand, f *Form, p *Plan) { p.intervals(r, f, between(r, 0.4, 0.7)) }},
	{"long intervals", func(r *rand.Rand, f *Form, p *Plan) { p.intervals(r, f, between(r, 1.4, 1.9)) }},
	{"games", func(r *rand.Rand, f *Form, p *Plan) {
		for range secs(r, 3, 5) {
			p.games(r, secs(r, 150, 330), f)
			p.mark()
			p.stand(r, secs(r, 60, 150))
			p.mark()
		}
	}},
	{"strength room", func(r *rand.Rand, _ *Form, p *Plan) {
		for range secs(r, 10, 18) {
			p.add(secs(r, 20, 50), between(r, 0.35, 0.85), 0)
			p.stand(r, secs(r, 60, 130))
		}
	}},
	{"drills only", func(r *rand.Rand, f *Form, p *Plan) { p.training(r, f); p.training(r, f) }},
	{"sitting and walking", func(r *rand.Rand, _ *Form, p *Plan) {
		for range secs(r, 3, 6) {
			p.add(secs(r, 100, 300), -0.15, 0)
			p.walk(r, secs(r, 60, 260))
		}
	}},
	{"strap not worn", func(r *rand.Rand, f *Form, p *Plan) { p.finish(r, f); p.Tests = nil }},
	{"run that gets faster", func(r *rand.Rand, f *Form, p *Plan) {
		e := between(r, 0.4, 0.55)
		for range secs(r, 5, 8) {
			p.run(r, secs(r, 85, 100), e, f.speedAt(e))
			e += between(r, 0.06, 0.12)
		}
		p.recover(r)
	}},
	{"repeated sprints", func(r *rand.Rand, f *Form, p *Plan) {
		for range secs(r, 2, 4) {
			p.strides(r, secs(r, 5, 8))
			p.mark()
			p.stand(r, secs(r, 90, 180))
		}
	}},
}

// nonePlan is a session of nones[kind].
func nonePlan(r *rand.Rand, f *Form, kind int) *Plan {
	p := &Plan{}
	p.warmUp(r, f)
	p.mark()
	p.Planned = p.now()
	nones[kind].plan(r, f, p)
	if r.Float64() < 0.3 {
		p.walk(r, secs(r, 10, 100))
	}
	return p
}
