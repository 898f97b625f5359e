package engine

import (
	"math"

	"canter.example/schemas"
)

// judgeShape compares the test with the response it should show.
func (w *work) judgeShape(v *verdict, m *measures, c *candidate) {
	sh, ch := w.finder.shapeOf(c)
	if sh.kernel == nil {
		return
	}
	switch {
	case m.leap.t > 0:
		v.add(schemas.Check, schemas.ReasonStrapSlip,
			"heart rate jumps by %+.0f bpm %s: the strap may have slipped, and the level be wrong", m.leap.size, when(m.leap.at-m.at))
	case ch.sure(w.finder.room()):
		v.add(schemas.Check, schemas.ReasonStrapSlip,
			"heart rate changes its level by %+.0f bpm at once %s: the strap may have slipped", ch.size, when(w.finder.grid.time(ch.at)-m.at))
	}
	if sh.instant() && c.seesOn() {
		v.add(schemas.Check, schemas.ReasonNotSteady, "heart rate rises faster than a run's response: an artefact, or the start is elsewhere")
	}
	scatter := sh.scatter()
	late := w.series.noiseIn(m.end-60, m.end)
	// The response's slope at the end is the model's; heart rate itself must
	// still climb, or fall, too.
	climbs := stillClimbs
	if c.alone() {
		climbs /= 2
	}
	moving := late.n < 8 || late.slope > climbs || late.slope < -mostFall/2
	if c.level > mostLevelCost && (moving || w.finder.tooLow(c) > mostLevelCost) {
		v.add(schemas.Check, schemas.ReasonNotSteady, "heart rate has not come to a level by the end, or is far below the protocol's")
	} else if scatter > mostScatter*w.finder.room()+w.series.wiggle || c.misfit > mostMisfit*w.finder.room() {
		v.add(schemas.Check, schemas.ReasonNotSteady, "heart rate scatters by %.1f bpm about the response", scatter)
	}
	if w.finder.profile.flat && late.n >= 8 && (late.slope < -mostFall || late.slope > mostClimb) {
		v.add(schemas.Check, schemas.ReasonNotSteady, "heart rate changes by %+.0f bpm in the last minute: not a steady run", 60*late.slope)
	}
	if times, z := m.restless(&w.series); z > mostRestless && w.finder.profile.flat {
		v.add(schemas.Check, schemas.ReasonArtefacts,
			"heart rate goes up and down %.1f times as much in the last minute of the run as at rest, where load calms it: the sensor may count steps", times)
	}
	bend, where := w.bend(m, &sh, c)
	if math.Abs(bend) > mostBend {
		v.add(schemas.Check, schemas.ReasonNotSteady,
			"heart rate is %+.0f bpm off the expected response %s into the test: not a steady run, or an artefact", bend, mmss(where))
	}
	w.judgeHidden(v, m, c, &sh, &ch)
	if c.alone() && v.quality == schemas.Good {
		if n := w.signs(&sh, &ch, c, scatter, bend); n >= mostSigns {
			v.add(schemas.Check, schemas.ReasonStartUncertain,
				"nothing but heart rate says that this was the test, and it is unlike one in %d small ways (rise, level, steadiness, recovery)", n)
		}
	}
}

// judgeHidden looks for what a response that fits well may hide: readings that the
// end of the run puts right, and a change of level in the rise. The second takes a
// search, which a test that is doubted already is spared.
func (w *work) judgeHidden(v *verdict, m *measures, c *candidate, sh *shape, ch *change) {
	if !w.finder.profile.flat {
		return
	}
	if rise, ok := m.riseAtStop(&w.series); ok && ch.undone(rise) {
		v.add(schemas.Check, schemas.ReasonArtefacts,
			"heart rate rises by %+.0f bpm as the run stops, where it should fall: the sensor may have counted steps, or the pace was raised at the end", rise.bpm)
	}
	if v.quality != schemas.Good || !c.seesOn() {
		return
	}
	if early, readings := w.finder.earlyChange(sh); early.sureEarly(readings) {
		v.add(schemas.Check, schemas.ReasonStrapSlip,
			"heart rate changes its level by %+.0f bpm at once as it begins to rise, %s: the strap may have slipped", early.size, when(w.finder.grid.time(early.at)-m.at))
	}
}

// mostSigns: so many of the small signs below are too many for a stretch that
// nothing but heart rate calls the test. Of simulated tests 1 to 3 in 100 have
// as many; of stretches of other training that look like a test, more than half.
const mostSigns = 4

// signs counts small things that speak against a stretch's being a steady run
// from rest to a level and back. Each alone is common; several are not.
func (w *work) signs(sh *shape, ch *change, c *candidate, scatter, bend float64) int {
	n := 0
	for _, sign := range [...]bool{
		c.on.rise() < 36,                            // hardly from rest
		c.on.h0 > 118,                               // not from rest
		c.on.tau <= fineOn[1],                       // faster than heart rate rises
		c.evOn < mostOn,                             // a rise that is not clear
		c.off.fall() < 20,                           // hardly a rest after it
		c.tension > leastTension,                    // edges not quite a test's length apart
		c.confidence() < 0.85,                       // other places fit, too
		scatter > 1.2*w.series.wiggle+0.3,           // more scatter than the trace's own
		math.Abs(bend) > 1.9,                        // not quite level
		ch.gain > leastChangeGain*w.finder.room()-1, // a level of its own in part of it
	} {
		if sign {
			n++
		}
	}
	return n
}

// bend returns the largest difference between means of 15 s and the fitted
// response once the fast part of the rise is over, and when it is.
func (w *work) bend(m *measures, sh *shape, c *candidate) (bend float64, where int) {
	for t := max(60, c.length/3); t+15 <= c.length; t += 5 {
		a := w.series.window(m.at+float64(t), m.at+float64(t+15))
		want, ok := sh.at(c.start + t + 7)
		if !ok || a.coverage() < 0.6 {
			continue
		}
		if d := a.mean - want; math.Abs(d) > math.Abs(bend) {
			bend, where = d, t+7
		}
	}
	return bend / w.finder.room(), where
}

// room is how much more than a steady run a test of several stages or bouts may
// differ from its expected response.
func (f *finder) room() float64 {
	if f.profile.flat {
		return 1
	}
	return 1.6
}
