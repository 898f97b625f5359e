package season

import (
	"math/rand/v2"
	"strconv"
	"time"
)

// The test: 4 min at 12 km/h, then a standing minute. The outcomes are read
// over its last 60 s, and at 60 s of recovery.
const (
	testSeconds  = 240
	testSpeed    = 12.0 / 3.6 // m/s
	hrexSeconds  = 60
	hrrSeconds   = 60
	delaySeconds = 3 // heart rate holds for a moment when the run stops
)

type kind uint8

const (
	easy  kind = iota // strolling, walking, drinking
	jog               // the warm-up before the test
	test              // the run
	stand             // the recovery
	drill             // everything after: short and hard, long and loose
)

// segment is a piece of a session with one demand.
type segment struct {
	kind    kind
	seconds int
	speed   float64 // m/s
	wander  float64 // SD of the speed around it, m/s
	demand  float64 // what heart rate goes to, as a fraction of HRmax
}

// Planned local times of day; the test starts some minutes off, as on any pitch.
const (
	firstHour, firstMinute   = 10, 30
	secondHour, secondMinute = 16, 0
	trainingHour             = 10
)

// whistle is when a wave of a squad starts the test of a week: the first wave
// within 4 min of the planned time, the second 6 min later.
func (g *generator) whistle(squad string, week, wave int) time.Time {
	r := chance(g.Seed, "whistle", squad, strconv.Itoa(week))
	d := g.date(week, tuesday)
	hour, minute := firstHour, firstMinute
	if squad == second {
		hour, minute = secondHour, secondMinute
	}
	plan := time.Date(d.Year(), d.Month(), d.Day(), hour, minute, 0, 0, g.zone)
	return plan.Add(time.Duration(uniform(r, -150, 180)+360*wave) * time.Second)
}

// testWorkout returns a warm-up with the test inside, and where it begins (s).
// total is the length of the recording in seconds, at least 1,400.
func testWorkout(r *rand.Rand, p *person, total int) (w []segment, begin int) {
	w = []segment{
		{easy, uniform(r, 60, 240), 0.9, 0.35, 0.50},
		{jog, uniform(r, 300, 420), normal(r, 2.35, 0.12, 2, 2.7), 0.12, p.hrex/100 - 0.15},
		{easy, uniform(r, 60, 100), 1.1, 0.25, 0.54},
	}
	begin = length(w)
	w = append(w,
		segment{test, testSeconds, normal(r, testSpeed, 0.025, 3.25, 3.42), 0.07, 0},
		segment{stand, uniform(r, 72, 105), 0, 0, 0},
		segment{easy, uniform(r, 60, 130), 1.1, 0.3, 0.56},
	)
	return drills(r, w, total), begin
}

// trainingWorkout returns a session without a steady run at the test's pace.
func trainingWorkout(r *rand.Rand, total int) []segment {
	w := []segment{
		{easy, uniform(r, 60, 180), 0.9, 0.35, 0.50},
		{jog, uniform(r, 200, 330), normal(r, 2.2, 0.15, 1.9, 2.5), 0.2, 0.63},
		{easy, uniform(r, 60, 150), 1, 0.3, 0.53},
	}
	return drills(r, w, total)
}

// drills fills a session up: blocks of short efforts with walks between, and
// now and then a small game of two to three minutes at no steady pace.
func drills(r *rand.Rand, w []segment, total int) []segment {
	for length(w) < total {
		if r.IntN(4) == 0 {
			w = append(w,
				segment{drill, uniform(r, 110, 170), normal(r, 2.3, 0.3, 1.7, 2.9), 0.95, normal(r, 0.88, 0.03, 0.80, 0.93)},
				segment{easy, uniform(r, 90, 150), 0.9, 0.3, 0.58})
			continue
		}
		for range uniform(r, 4, 8) {
			w = append(w,
				segment{drill, uniform(r, 12, 35), normal(r, 4.2, 0.5, 3, 5.6), 0.5, normal(r, 0.94, 0.03, 0.86, 0.99)},
				segment{easy, uniform(r, 20, 55), 1.1, 0.3, 0.60})
		}
		w = append(w, segment{easy, uniform(r, 60, 140), 0.8, 0.3, 0.55})
	}
	over := length(w) - total
	for i := len(w) - 1; over > 0; i-- {
		cut := min(over, w[i].seconds)
		w[i].seconds -= cut
		over -= cut
	}
	return w
}

func length(w []segment) int {
	n := 0
	for i := range w {
		n += w[i].seconds
	}
	return n
}
