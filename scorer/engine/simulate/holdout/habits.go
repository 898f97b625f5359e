package holdout

import "math/rand/v2"

// day collects the acts of a session and where its tests begin.
type day struct {
	r     *rand.Rand
	acts  []act
	now   int
	work  float64 // share of the reserve in the test
	pace  float64 // m/s in the test
	steps float64
}

func (d *day) do(a act) {
	d.now += a.seconds
	d.acts = append(d.acts, a)
}

func (d *day) stand(low, high int) {
	d.do(act{seconds: whole(d.r, low, high), work: within(d.r, 0.02, 0.14), uneven: 0.008})
}

func (d *day) walk(low, high int) {
	d.do(act{seconds: whole(d.r, low, high), work: within(d.r, 0.16, 0.30), pace: within(d.r, 1.1, 1.6), steps: within(d.r, 100, 120), uneven: 0.015})
}

func (d *day) jog(low, high int) {
	share := within(d.r, 0.62, 0.85)
	d.do(act{seconds: whole(d.r, low, high), work: d.work * share, pace: d.pace * within(d.r, 0.6, 0.8), steps: d.steps - 8, uneven: 0.012, running: true})
}

// stretching is dynamic: small bouts of movement.
func (d *day) stretching(low, high int) {
	for end := d.now + whole(d.r, low, high); d.now < end; {
		d.do(act{seconds: whole(d.r, 8, 22), work: within(d.r, 0.2, 0.5), pace: within(d.r, 0, 1.5), steps: within(d.r, 40, 120), uneven: 0.02, running: d.r.IntN(3) == 0})
		d.do(act{seconds: whole(d.r, 5, 15), work: within(d.r, 0.1, 0.25), pace: within(d.r, 0, 1), uneven: 0.01})
	}
}

// games are small-sided play, with sprints.
func (d *day) games(low, high int) {
	for end := d.now + whole(d.r, low, high); d.now < end; {
		for range whole(d.r, 4, 12) {
			d.do(act{seconds: whole(d.r, 4, 30), work: within(d.r, 0.45, 1.0), pace: within(d.r, 2, 6), steps: within(d.r, 140, 190), uneven: 0.05, running: true})
			d.do(act{seconds: whole(d.r, 4, 35), work: within(d.r, 0.2, 0.6), pace: within(d.r, 0.3, 2), steps: within(d.r, 20, 120), uneven: 0.04})
		}
		d.stand(45, 150)
	}
}

// warm is one of the habits before a test.
func (d *day) warm() {
	switch d.r.IntN(5) {
	case 0: // jog, walk, dynamic stretching, a word from the coach
		d.walk(30, 150)
		d.jog(240, 420)
		d.walk(40, 90)
		d.stretching(120, 300)
		d.stand(40, 110)
	case 1: // straight from the dressing room
		d.walk(60, 300)
		d.stand(40, 200)
	case 2: // jog, then a wait in line
		d.jog(180, 330)
		d.stand(60, 180)
	case 3: // stretching only
		d.stand(30, 120)
		d.stretching(180, 420)
		d.walk(30, 60)
	case 4: // jog with strides, then a walk
		d.walk(20, 60)
		d.jog(150, 300)
		for range whole(d.r, 2, 4) {
			d.do(act{seconds: whole(d.r, 6, 10), work: within(d.r, 0.9, 1.1), pace: 6, steps: 190, running: true})
			d.walk(25, 45)
		}
		d.walk(60, 120)
	}
}

// test runs for a time and rests as the protocol says; it returns the start.
func (d *day) test(seconds, rest int) int {
	at := d.now
	d.do(act{seconds: seconds, work: d.work, pace: d.pace, steps: d.steps, uneven: 0.004, running: true})
	d.do(act{seconds: rest, work: within(d.r, 0.01, 0.09), uneven: 0.006})
	return at
}
