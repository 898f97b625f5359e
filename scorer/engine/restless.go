package engine

import "math"

// Load calms heart rate: the vagus, which makes it vary from beat to beat, lets
// go as work rises (of the trade's common knowledge, MEMORY). So readings of a
// steady run that go up and down more than those before and after it are hardly
// the heart's: the sensor counts steps, or moves with them.

// Limits of restlessness; choices of this package.
const (
	// restBefore and restAfter: seconds before and after the run that it is compared
	// with, from restFrom seconds after its end on.
	restBefore, restFrom, restAfter = 180, 10, 130
	// lastMinute of the run is what is looked at.
	lastMinute = 60
	// fewestAtWork and fewestAtRest readings tell how restless heart rate is.
	fewestAtWork, fewestAtRest = 8, 40
	// mostRestless: standard errors by which the logarithm of the ratio of the two
	// mean squares may be above 0. Were heart rate no calmer in the run at all, one
	// sound run in forty would be above it; it is calmer, and hardly any is.
	mostRestless = 2.0
	// wildest (bpm) a reading may be off its neighbours and count as more.
	wildest = 12.0
)

// turns sums up by how much readings are off the line between their neighbours:
// slopes and even most curves of heart rate do not show in that.
type turns struct {
	n, sum float64 // bpm²
}

// turnsIn looks at the kept readings of from ≤ t < to in the trace's own rhythm.
func (s *series) turnsIn(from, to float64) (u turns) {
	longest := 1.5*s.interval + 0.6
	a, b := -1, -1
	for i := s.firstAt(from); i < len(s.at) && s.at[i] < to; i++ {
		switch {
		case s.at[i] < from:
			continue
		case s.why[i] != kept:
			a, b = -1, -1
			continue
		case b >= 0 && s.at[i]-s.at[b] > longest:
			a, b = -1, i
			continue
		}
		if a >= 0 {
			share := (s.at[b] - s.at[a]) / (s.at[i] - s.at[a])
			off := min(math.Abs(s.hr[b]-s.hr[a]-share*(s.hr[i]-s.hr[a])), wildest)
			u.n, u.sum = u.n+1, u.sum+off*off
		}
		a, b = b, i
	}
	return u
}

// square is the mean square, what rounding of the three readings makes on top.
func (u *turns) square() float64 { return u.sum/u.n + 1.5/12 }

// restless compares the last minute of the run with the time before and after
// it: how many times as restless it is, and by how many standard errors of the
// logarithm of that. The mean of n squares of white noise, each off the line
// between its neighbours, is as sure as that of n/2 that know nothing of each
// other.
func (m *measures) restless(s *series) (times, z float64) {
	run := s.turnsIn(max(m.end-lastMinute, m.at), m.end)
	rest := s.turnsIn(m.at-restBefore, m.at)
	after := s.turnsIn(m.end+restFrom, m.end+restAfter)
	rest.n, rest.sum = rest.n+after.n, rest.sum+after.sum
	if run.n < fewestAtWork || rest.n < fewestAtRest {
		return 1, 0
	}
	ratio := run.square() / rest.square()
	return math.Sqrt(ratio), math.Log(ratio) / math.Sqrt(4*(1/run.n+1/rest.n))
}
