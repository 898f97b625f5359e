package engine

import (
	"math"

	"canter.example/schemas"
)

// stretch is one part of a test whose speed changes, in seconds from its start.
type stretch struct {
	from, to int
	speed    float64 // m/s; 0 for a rest, at whatever speed
}

// courseOf returns the speeds of a protocol of several stages or bouts; nil when
// one is not known.
func courseOf(p *schemas.Protocol) (out []stretch) {
	if len(p.Stages) < 2 {
		return nil
	}
	at, least, most := 0.0, math.Inf(1), 0.0
	for _, st := range p.Stages {
		v := 0.0
		if !st.Rest {
			kmh, ok := st.SpeedKMH.Get()
			if !ok || kmh <= 0 {
				return nil
			}
			v = kmh / 3.6
		}
		least, most = min(least, v), max(most, v)
		next := at + st.Duration.Seconds()
		out = append(out, stretch{from: int(math.Round(at)), to: int(math.Round(next)), speed: v})
		at = next
	}
	if least == most {
		return nil
	}
	return out
}

// keeps reports whether there is a speed channel and a protocol to hold it to.
func (h *hints) keeps() bool { return h.speedOK && (h.steady || h.course != nil) }

// follows is the log likelihood of a speed that follows the protocol's from
// second t on: in its work a multiple of the protocol's speeds, in its rests one
// level, before and after it one each, over a stretch fixed by middle.
func (h *hints) follows(g *grid, t, length, middle int) float64 {
	const side = 30
	left, _, n := h.offCourse(g, t, length)
	s1, n1 := g.speedSquares(middle-side, t)
	s2, n2 := g.speedSquares(t+length, middle+length+side)
	if n < length/2 {
		return 0
	}
	all := float64(n + int(n1+n2))
	return -all / (2 * worth) * math.Log((left+s1+s2)/all+0.01)
}

// offCourse fits the protocol's speeds to those from second t on, as far as a test
// of length seconds went: the sum of squares left, the multiple of the protocol's
// speed that was run, and the count of seconds with speed. It is least squares for
// v = times·protocol in work and v = level in rests.
func (h *hints) offCourse(g *grid, t, length int) (left, times float64, n int) {
	var vv, pv, pp, rest, restV, restVV float64
	for _, s := range h.course {
		if s.from >= length {
			break
		}
		mean, sd, k := g.meanSpeed(t+s.from, t+min(s.to, length))
		count := float64(k)
		n += k
		squares := count * (mean*mean + sd*sd)
		if s.speed == 0 {
			rest, restV, restVV = rest+count, restV+count*mean, restVV+squares
			continue
		}
		vv, pv, pp = vv+squares, pv+s.speed*count*mean, pp+s.speed*s.speed*count
	}
	if pp > 0 {
		times = pv / pp
		left = max(0, vv-pv*times)
	}
	if rest > 0 {
		left += max(0, restVV-restV*restV/rest)
	}
	return left, times, n
}

// courseEvidence weighs whether the speed in a test at second t follows the
// protocol's course. vouches is true when it plainly does, changes and all, at
// about the protocol's speeds. The amounts are choices of this package, like those
// of speedEvidence.
func (h *hints) courseEvidence(g *grid, t, length int) (ev float64, vouches bool) {
	if !h.speedOK || h.course == nil {
		return 0, false
	}
	left, times, n := h.offCourse(g, t, length)
	if n < length/2 {
		return 0, false
	}
	off := math.Abs(times - 1)
	if off > 0.12 {
		return -min(15, 60*(off-0.12)), false
	}
	whole, _ := g.speedSquares(t, t+length)
	explained := 1 - left/max(whole, 1e-9)
	return 8 * max(0, explained), explained > 0.6
}

// box is the log likelihood of a speed that is one level before second t, one
// during the test and one after it, over a stretch fixed by middle.
func (h *hints) box(g *grid, t, length, middle int) float64 {
	const side = 30
	a, b := middle-side, middle+length+side
	s1, n1 := g.speedSquares(a, t)
	s2, n2 := g.speedSquares(t, t+length)
	s3, n3 := g.speedSquares(t+length, b)
	ss, n := s1+s2+s3, n1+n2+n3
	if int(n) < length/2 {
		return 0
	}
	return -float64(n) / (2 * worth) * math.Log(ss/float64(n)+0.01)
}

// speedEvidence weighs the speed around and in a test at second t: a run of
// the protocol's speed that begins and ends with it. vouches is true when both
// its edges are seen; longer when the run was plainly going on at one of them.
// What an even speed, the protocol's and either edge are worth, 4 each, and what
// speaks against them, are choices of this package in units of log likelihood:
// 16 at most, where heart rate's two edges are worth 50 at most.
func (h *hints) speedEvidence(g *grid, t, length int) (ev float64, vouches, longer bool) {
	if !h.speedOK || !h.steady {
		ev, vouches = h.courseEvidence(g, t, length)
		return ev, vouches, false
	}
	in, sd, n := g.meanSpeed(t+3, t+length-3)
	if n < length/2 {
		return 0, false, false
	}
	if in < 1.2 {
		return -15, false, false
	}
	even := sd/in < 0.08
	if even {
		ev += 4
	} else {
		ev -= min(12, 60*(sd/in-0.08))
	}
	kept := true
	if v, ok := h.speedKMH.Get(); ok && v > 0 {
		off := math.Abs(in*3.6/v - 1)
		if kept = off < 0.08; kept {
			ev += 4
		} else {
			ev -= min(15, 60*(off-0.08))
		}
	}
	edges := 0
	for _, w := range [...][2]int{{t - 12, t - 3}, {t + length + 3, t + length + 12}} {
		out, _, k := g.meanSpeed(w[0], w[1])
		if k < 4 {
			continue
		}
		// A change of speed is for an edge, going on as before against it.
		change := math.Abs(in-out) / in
		ev += max(min(4, 16*(change-0.15)), -6)
		if change > 0.35 {
			edges++
		} else if change < 0.12 {
			ev -= 4
			longer = true
		}
	}
	return ev, even && kept && edges == 2, longer
}

// Windows of the search for an edge of the run in the speed channel, in
// seconds: how far from where heart rate puts it, and how much of the speed on
// its quiet and on its running side is looked at.
const (
	edgeReach = 26
	quietSide = 15
	runSide   = 40
	// speedLate is how many seconds a receiver's smoothing shows a change of
	// speed late.
	speedLate = 1
)

// timedRun finds the seconds at which running begins and ends near a test that
// heart rate puts at second t, each for itself: where one level of speed turns
// into another. ok is false when either is not sharp.
func (h *hints) timedRun(g *grid, t, length int) (begins, ends int, ok bool) {
	if !h.speedOK || !h.steady {
		return 0, 0, false
	}
	begins, sharp := h.speedEdge(g, t, quietSide, runSide)
	if !sharp {
		return 0, 0, false
	}
	ends, sharp = h.speedEdge(g, t+length, runSide, quietSide)
	return begins, ends, sharp
}

// speedEdge splits the speed around second t where two means, over so many
// seconds on the left and on the right, leave the least scatter.
func (h *hints) speedEdge(g *grid, t, left, right int) (at int, sharp bool) {
	a, b := t-edgeReach-left, t+edgeReach+right
	whole, n := g.speedSquares(a, b)
	if a < 0 || b > len(g.x) || int(n) < (b-a)*2/3 {
		return 0, false
	}
	least := math.Inf(1)
	for s := t - edgeReach; s <= t+edgeReach; s++ {
		s1, _ := g.speedSquares(a, s)
		s2, _ := g.speedSquares(s, b)
		if s1+s2 < least {
			least, at = s1+s2, s
		}
	}
	before, _, _ := g.meanSpeed(at-quietSide, at-2)
	after, _, _ := g.meanSpeed(at+2, at+quietSide)
	return at, least < 0.35*whole && math.Abs(before-after) > 0.35*max(before, after)
}
