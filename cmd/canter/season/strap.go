package season

import (
	"math"
	"math/rand/v2"
	"strconv"
	"time"
)

// strapState is how well a strap does its work.
type strapState uint8

const (
	strapFine  strapState = iota
	strapWorn             // many short dropouts, none where it matters
	strapDrops            // most of the last minute and of the recovery lost
	strapStuck            // slips to a lower value, then repeats one reading
)

// recording is what a device stored.
type recording struct {
	start   time.Time // whole seconds, UTC
	samples []sample
	begin   int   // s from start to the test; -1 without one
	marks   []int // s at which the lap button was pressed
	strap   string
	beats   []float64 // lengths of the beats in s, for devices that keep them
}

// sample is one stored reading.
type sample struct {
	sec   int     // since the start of the recording
	hr    uint8   // bpm; 0 = no reading
	speed float64 // m/s
	steps float64 // a minute
	far   float64 // m since the start
}

// seconds returns the length of the recording.
func (r *recording) seconds() int { return r.samples[len(r.samples)-1].sec + 1 }

// at returns the instant of a second.
func (r *recording) at(sec int) time.Time { return r.start.Add(time.Duration(sec) * time.Second) }

// testRecording makes one athlete's file of a test day.
func (g *generator) testRecording(p *person, week int, h happening) (*recording, Truth) {
	wk := strconv.Itoa(week)
	r := chance(g.Seed, "test", p.id, wk)
	shared := chance(g.Seed, "shared", wk)
	shift := h.hrex + 0.3*shared.NormFloat64()
	want := goal{
		hrex: (p.hrex + shift + unexplained(p.hrexSD, hrexExplained)*r.NormFloat64()) / 100 * p.hrmax,
		hrr:  p.hrr + h.hrr + unexplained(p.hrrSD, hrrExplained)*r.NormFloat64(),
	}
	total := 60*g.minutes(p) + uniform(r, 0, 120)
	work, begin := testWorkout(r, p, total)
	c := live(r, p, work, want, shift)

	lag := uniform(r, 0, 2) // nobody starts quite on the whistle
	start := g.whistle(p.squad, week, p.wave).Add(time.Duration(lag-begin) * time.Second)
	rec := p.record(chance(g.Seed, "strap", p.id, wk), c, start, h.strap)
	rec.strap = p.strapSerial()
	if p.id == strapFails && week >= newStrapWeek {
		rec.strap = p.newStrapSerial()
	}
	truth := Truth{Athlete: p.id, Test: true, Start: rec.at(begin), Reason: h.reason}
	truth.HRexBPM, truth.HRR60 = c.outcomes()
	switch h.strap {
	case strapDrops:
		truth.Doubtful, truth.Reason = true, "the strap lost most of the last minute"
	case strapStuck:
		truth.Doubtful, truth.Reason = true, "the strap slipped and then repeated one value"
	case strapWorn:
		truth.Reason = "many short dropouts, none where the outcomes are read"
	case strapFine:
	}
	return rec, truth
}

// minutes is how long an athlete's device records on a day with a test.
func (g *generator) minutes(p *person) int {
	if g.Whole {
		return uniform(chance(g.Seed, "whole", p.id), 60, 80)
	}
	return p.minutes
}

// trainingRecording makes one athlete's file of a day without a test.
func (g *generator) trainingRecording(p *person, week int) *recording {
	wk := strconv.Itoa(week)
	r := chance(g.Seed, "training", p.id, wk)
	minutes := uniform(r, 30, 70)
	if g.Whole {
		minutes = g.minutes(p)
	}
	work := trainingWorkout(r, 60*minutes)
	c := live(r, p, work, goal{}, g.happens(p, week).hrex)
	d := g.date(week, thursday)
	start := time.Date(d.Year(), d.Month(), d.Day(), trainingHour, 0, uniform(r, 0, 400), 0, g.zone)
	rec := p.record(chance(g.Seed, "strap", "training", p.id, wk), c, start, strapFine)
	rec.strap = p.strapSerial()
	return rec
}

// Part of the SD between tests that the heart's unrest inside the windows and
// the squad's shared part already make.
const (
	hrexExplained = 0.45 // points of %HRmax
	hrrExplained  = 1.2  // bpm
)

// unexplained is the SD that is still to be added.
func unexplained(sd, explained float64) float64 { return math.Sqrt(sd*sd - explained*explained) }

// record turns a course into what the device stores of it.
func (p *person) record(r *rand.Rand, c course, start time.Time, state strapState) *recording {
	rec := &recording{start: start.UTC(), begin: c.begin}
	readings := make([]uint8, len(c.hr))
	for i, hr := range c.hr {
		readings[i] = uint8(math.Round(hr))
	}
	wear(r, readings, c.begin, state)
	rec.samples = make([]sample, 0, len(c.hr))
	far, next := 0.0, 0
	var last sample
	for i := range c.hr {
		s := sample{sec: i, hr: readings[i], speed: c.speed[i], steps: max(0, c.steps[i]), far: far}
		far += c.speed[i]
		if p.device.smart() && i > 0 && i < len(c.hr)-1 && i < next && !stands(s, last) {
			continue
		}
		rec.samples = append(rec.samples, s)
		last, next = s, i+uniform(r, 2, 6)
	}
	if p.device == fitLaps && c.begin >= 0 {
		rec.marks = []int{c.begin + uniform(r, 0, 1), c.begin + testSeconds + uniform(r, 0, 2)}
	}
	if p.device == fitBeats {
		rec.beats = beats(r, c.hr)
	}
	return rec
}

// stands reports whether a reading stands out enough for a recorder that
// saves space to keep it.
func stands(s, last sample) bool {
	change := int(s.hr) - int(last.hr)
	return change > 2 || change < -2 || math.Abs(s.speed-last.speed) > 1.2
}

// beats cuts a course of heart rate into the lengths of its beats.
func beats(r *rand.Rand, hr []float64) []float64 {
	var out []float64
	for t := 0.0; int(t) < len(hr); {
		beat := 60 / hr[int(t)] * (1 + 0.008*r.NormFloat64())
		out = append(out, beat)
		t += beat
	}
	return out
}

// wear spoils readings as a strap in this state does: 0 where nothing came.
func wear(r *rand.Rand, hr []uint8, begin int, state strapState) {
	blank(hr, 0, uniform(r, 0, 8)) // skin contact takes a moment
	end := begin + testSeconds
	gaps, longest := 0, 8
	switch state {
	case strapFine:
		if r.IntN(4) == 0 {
			gaps = uniform(r, 1, 2)
		}
	case strapWorn:
		gaps, longest = uniform(r, 8, 12), 12
	case strapDrops:
		gaps, longest = uniform(r, 12, 16), 25
		for at := end - hrexSeconds; at < end; at += 15 {
			blank(hr, at, at+uniform(r, 10, 13))
		}
		blank(hr, end-6, end+8)
		blank(hr, end+50, end+72)
	case strapStuck:
		gaps = uniform(r, 4, 6)
		for i := end - 80; i < end-45; i++ {
			hr[i] -= 24
		}
		for i := end - 45; i < end+85; i++ {
			hr[i] = hr[end-46]
		}
	}
	for range gaps {
		at, n := r.IntN(len(hr)), uniform(r, 3, longest)
		if begin >= 0 && at+n > end-hrexSeconds-5 && at < end+hrrSeconds+10 {
			continue // an ordinary dropout spares the seconds that count
		}
		blank(hr, at, at+n)
	}
}

func blank(hr []uint8, from, to int) { clear(hr[max(0, from):min(to, len(hr))]) }
