package engine

import "math"

// When a run stops, heart rate holds for some seconds and falls; it does not leap
// up. A sensor that counts steps lets go then, and shows the heart again: where that
// beats faster than the feet went, the readings rise as the run stops. So do those
// of a strap that read low and slips back.

const (
	// stopLine: seconds before the end whose line is the level of the run, at least
	// fewestAtStop readings of it, and stopFirst: seconds after the end, or one
	// reading, that are set against it.
	stopLine, stopFirst = 40.0, 4.0
	fewestAtStop        = 6
)

// estimate is a size in bpm with its standard error.
type estimate struct{ bpm, se float64 }

// riseAtStop is by how much the first readings after the run are above where the
// line through its last seconds leads.
func (m *measures) riseAtStop(s *series) (rise estimate, ok bool) {
	run, level := s.noiseIn(m.end-stopLine, m.end), s.window(m.end-stopLine, m.end)
	n, sum := 0, 0.0
	for i := s.firstAt(m.end); i < len(s.at) && s.at[i] < m.end+max(stopFirst, 1.1*s.interval); i++ {
		if s.at[i] >= m.end && s.why[i] == kept {
			n, sum = n+1, sum+s.hr[i]
		}
	}
	if run.n < fewestAtStop || n == 0 {
		return estimate{}, false
	}
	rise.bpm = sum/float64(n) - (level.mean + run.slope*stopLine/2)
	// A line's end has twice the standard error of its mean.
	rise.se = math.Hypot(2*run.se(run.n), run.se(n))
	return rise, true
}

// undone reports whether a rise at the stop gives back what heart rate had lost
// all along, or at a change within the run, and whether that was enough to make a
// wrong HRex. The rise alone must be surely so much; where a fall in the run says
// the same, the two are one quantity measured twice, and as sure as both together.
func (ch *change) undone(rise estimate) bool {
	if rise.bpm-wrongHRex > changeZ*rise.se {
		return true
	}
	if ch.size >= 0 || rise.bpm <= 0 || ch.gain <= 0 {
		return false
	}
	// Twice a gain is the square of the size in standard errors.
	fall := estimate{bpm: -ch.size, se: -ch.size / math.Sqrt(2*ch.gain)}
	worth := 1/sq(fall.se) + 1/sq(rise.se)
	both := (fall.bpm/sq(fall.se) + rise.bpm/sq(rise.se)) / worth
	gain := ch.gain + sq(rise.bpm/rise.se)/2
	return gain > leastChangeGain && both-wrongHRex > 1/math.Sqrt(worth)
}
