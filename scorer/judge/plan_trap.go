package judge

import "math/rand/v2"

// traps are sessions with a test that is easy to mistake.
var traps = []struct {
	name string
	plan func(*rand.Rand, *Form) *Plan
}{
	{"jog right before", func(r *rand.Rand, f *Form) *Plan {
		p := &Plan{}
		p.stand(r, secs(r, 10, 90))
		p.jog(r, unlike(secs(r, 120, 420), f.Seconds()), f)
		p.stand(r, secs(r, 0, 40))
		return p.finish(r, f)
	}},
	{"effort right before", func(r *rand.Rand, f *Form) *Plan {
		p := &Plan{}
		p.warmUp(r, f)
		if r.Float64() < 0.5 {
			p.strides(r, secs(r, 3, 6))
		} else {
			p.run(r, secs(r, 40, 100), 1.25, f.speedAt(1.25))
		}
		p.stand(r, secs(r, 15, 60))
		return p.finish(r, f)
	}},
	{"shorter steady run elsewhere", func(r *rand.Rand, f *Form) *Plan {
		p := &Plan{}
		short := func() {
			e := between(r, 0.9, 1.08)
			p.run(r, int(float64(f.Seconds())*between(r, 0.4, 0.7)), e, f.speedAt(e))
			p.mark()
			p.stand(r, secs(r, 60, 200))
		}
		first := r.Float64() < 0.5
		p.stand(r, secs(r, 10, 90))
		if first {
			short()
		}
		p.finish(r, f)
		if !first {
			p.stand(r, secs(r, 20, 60))
			short()
		}
		return p
	}},
	{"drills straight after", func(r *rand.Rand, f *Form) *Plan {
		p := &Plan{}
		p.warmUp(r, f)
		p.test(r, f, f.Seconds()).Rested = false
		p.stand(r, secs(r, 0, 8))
		p.drills(r, secs(r, 90, 240), f)
		p.training(r, f)
		return p
	}},
	{"intervals after", func(r *rand.Rand, f *Form) *Plan {
		p := &Plan{}
		p.warmUp(r, f)
		p.test(r, f, f.Seconds())
		p.stand(r, secs(r, 68, 110))
		p.intervals(r, f, between(r, 0.35, 0.7))
		return p
	}},
	{"cut short", func(r *rand.Rand, f *Form) *Plan {
		p := &Plan{}
		p.warmUp(r, f)
		p.test(r, f, int(float64(f.Seconds())*between(r, 0.5, 0.85)))
		p.recover(r)
		p.after(r, f)
		return p
	}},
	{"two tests in one file", func(r *rand.Rand, f *Form) *Plan {
		p := cleanPlan(r, f)
		p.stand(r, secs(r, 120, 300))
		return p.finish(r, f)
	}},
	{"strap put on late", cleanPlan}, // the device does it
	{"high heart rate at the start", func(r *rand.Rand, f *Form) *Plan {
		p := &Plan{}
		p.stand(r, secs(r, 10, 60))
		p.games(r, secs(r, 120, 300), f)
		p.stand(r, secs(r, 5, 45))
		return p.finish(r, f)
	}},
	{"clock minutes off", cleanPlan}, // the device does it
	{"false start", func(r *rand.Rand, f *Form) *Plan {
		p := &Plan{}
		p.warmUp(r, f)
		p.run(r, secs(r, 15, 45), f.Load[0].Effort, f.Load[0].Speed)
		p.stand(r, secs(r, 20, 70))
		return p.finish(r, f)
	}},
	{"walked in recovery", func(r *rand.Rand, f *Form) *Plan {
		p := &Plan{}
		p.warmUp(r, f)
		p.test(r, f, f.Seconds())
		p.walk(r, secs(r, 72, 200))
		p.after(r, f)
		return p
	}},
	{"file ends with the test", func(r *rand.Rand, f *Form) *Plan {
		p := &Plan{}
		p.warmUp(r, f)
		p.test(r, f, f.Seconds()).Rested = false
		p.stand(r, secs(r, 1, 40))
		return p
	}},
	{"lap pressed late", cleanPlan}, // the coach does it
}

// finish is the test and what follows it on an ordinary day.
func (p *Plan) finish(r *rand.Rand, f *Form) *Plan {
	p.test(r, f, f.Seconds())
	p.recover(r)
	p.after(r, f)
	return p
}

// intervals are hard runs of share times the test's length with easy ones between.
func (p *Plan) intervals(r *rand.Rand, f *Form, share float64) {
	e := between(r, 1.05, 1.22)
	rest := secs(r, 60, 150)
	for range secs(r, 3, 5) {
		p.run(r, int(float64(f.Seconds())*share)+secs(r, -3, 3), e, f.speedAt(e))
		p.mark()
		if r.Float64() < 0.5 {
			p.walk(r, rest)
		} else {
			p.stand(r, rest)
		}
		p.mark()
	}
}
