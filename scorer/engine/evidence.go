package engine

import (
	"math"
	"time"

	"canter.example/schemas"
)

// Hint is what team-mates' traces of the same session say of the start.
type Hint struct {
	// Start that the team-mates share, and its spread (standard deviation).
	Start time.Time
	SD    time.Duration
	// Traces that agree on it.
	Traces int
}

// hints is what is known of the start besides heart rate, in trace seconds.
type hints struct {
	any      bool // there is something besides heart rate and speed
	length   float64
	laps     []schemas.Lap
	presses  []press // those of them that speak for a start
	planned  bool
	around   float64
	within   float64
	team     bool
	teamAt   float64
	teamSD   float64
	speedKMH schemas.Number
	steady   bool      // the protocol's speed does not change
	course   []stretch // the protocol's speeds when they do change and are all known
	posture  schemas.Posture
	speedOK  bool // the trace has a speed channel that moves
}

// press is the beginning of a lap, in trace seconds, and what it is worth when the
// test starts there.
type press struct{ at, worth float64 }

func newHints(tr *schemas.Trace, s *series, req *Request) hints {
	h := hints{length: req.Protocol.Duration().Seconds(), laps: tr.Laps, posture: req.Protocol.Posture}
	if !req.Around.IsZero() {
		h.planned = true
		h.around = req.Around.Sub(tr.Start).Seconds()
		h.within = req.Within.Seconds()
		if h.within <= 0 {
			h.within = 600
		}
	}
	if req.Session != nil && !req.Session.Start.IsZero() {
		h.team = true
		h.teamAt = req.Session.Start.Sub(tr.Start).Seconds()
		h.teamSD = max(req.Session.SD.Seconds(), 1)
	}
	if len(req.Protocol.Stages) == 1 {
		h.speedKMH = req.Protocol.Stages[0].SpeedKMH
		h.steady = true
	}
	h.course = courseOf(req.Protocol)
	h.any = h.planned || h.team || len(h.laps) > 0
	for i := range h.laps {
		switch l := &h.laps[i]; {
		case h.fits(l):
			h.presses = append(h.presses, press{l.Start.Seconds(), lapWorth})
		case l.Manual:
			h.presses = append(h.presses, press{l.Start.Seconds(), pressWorth})
		}
	}
	moving := 0
	if s.speeds > 0 {
		for i := range s.speed {
			if s.have[i]&schemas.HasSpeed != 0 && s.speed[i] > 1.8 {
				moving++
			}
		}
	}
	h.speedOK = float64(moving)*s.interval > 0.5*h.length
	return h
}

// fits reports whether a lap is as long as the test.
func (h *hints) fits(l *schemas.Lap) bool {
	return math.Abs((l.End-l.Start).Seconds()-h.length) <= 8
}

// What a start's agreeing with each of them is worth, in units of log likelihood;
// choices of this package. For comparison: heart rate's two edges are worth 50 at
// most, and a test is not reported with less than 14.
const (
	lapWorth   = 14.0 // a lap as long as the test: nobody presses that by chance
	pressWorth = 4.0  // another lap that was pressed by hand
	lapSD      = 3.0  // s from the press to the start, as a standard deviation
	planWorth  = 4.0  // the planned time itself, half of it at the end of its window
	mateWorth  = 8.0  // team-mates' start
	// offPlan and mostOffPlan: what a start outside the planned window costs, for
	// each time its length, and at most.
	offPlan, mostOffPlan = 4.0, 15.0
)

// evidence is what laps, plan and team-mates add for a start at trace time t.
// When c is given, it notes there which of them agreed.
func (h *hints) evidence(t float64, c *candidate) float64 {
	sum := 0.0
	for _, p := range h.presses {
		x := (t - p.at) / lapSD
		if math.Abs(x) > 2 {
			continue // less than three tenths of its worth are none
		}
		if add := p.worth * math.Exp(-x*x/2); add > 0.3*p.worth {
			sum += add
			if c != nil && p.worth == lapWorth {
				c.lap = true
			}
		}
	}
	if h.planned {
		x := (t - h.around) / h.within
		if math.Abs(x) <= 1 {
			sum += planWorth - planWorth/2*x*x
			if c != nil {
				c.planned = true
			}
		} else {
			sum -= min(mostOffPlan, offPlan*math.Abs(x))
		}
	}
	if h.team {
		x := (t - h.teamAt) / (h.teamSD + 2)
		sum += mateWorth * math.Exp(-x*x/2)
		if c != nil && math.Abs(x) < 2.5 {
			c.team = true
		}
	}
	return sum
}
