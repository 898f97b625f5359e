package engine

import "math"

// segment is a stretch of kept samples without a jump inside: samples
// from ≤ i < to, some of which may be dropped, with its levels at both ends.
type segment struct {
	from, to    int
	first, last float64 // mean of up to 5 samples at either end
	begin, end  float64 // seconds
}

// dropDetached cuts the trace where it jumps and takes out the stretches
// between two jumps whose neighbours agree with each other: spikes, halving,
// doubling, strap slip and return, short ones first, so that what is left of a
// long one is whole. Jumps that stay are recorded as steps.
func (s *series) dropDetached() {
	segs := s.segments()
	if len(segs) < 2 {
		return
	}
	for _, longest := range [...]float64{2, 5, 12, 30, 75, 180} {
		segs = s.dropBetween(segs, longest)
	}
	segs = s.dropEnds(s.dropShreds(segs))
	for i := 1; i < len(segs); i++ {
		a, b := &segs[i-1], &segs[i]
		if b.begin-a.end > bridged {
			continue
		}
		if size, ok := s.isStep(a, b); ok {
			s.steps = append(s.steps, step{at: b.begin, size: size})
		}
	}
}

// allowed is the largest change over dt seconds that is no jump: what the trace's
// own noise makes from sample to sample, and 2.2 bpm for each second more. The
// amounts are choices of this package.
func (s *series) allowed(dt float64) float64 {
	return min(max(4.8, 4.5*s.wiggle), 20) + 2.2*max(0, min(dt, 8)-1)
}

func (s *series) segments() []segment {
	segs := s.segs[:0]
	prev := -1
	apart, most := 0.0, s.allowed(0) // most readings are as far apart as the two before
	for i := range s.hr {
		if s.why[i] != kept {
			continue
		}
		if prev >= 0 && s.at[i]-s.at[prev] != apart {
			apart = s.at[i] - s.at[prev]
			most = s.allowed(apart)
		}
		if prev < 0 || math.Abs(s.hr[i]-s.hr[prev]) > most {
			if len(segs) > 0 {
				segs[len(segs)-1].to = prev + 1
			}
			segs = append(segs, segment{from: i})
		}
		prev = i
	}
	if len(segs) > 0 {
		segs[len(segs)-1].to = prev + 1
	}
	if len(segs) > 1 {
		for i := range segs {
			s.measure(&segs[i])
		}
	}
	s.segs = segs
	return segs
}

// measure sets the levels and times of a segment from its kept samples.
func (s *series) measure(g *segment) {
	const ends = 5
	sum, n := 0.0, 0
	g.begin = s.at[g.from]
	for i := g.from; i < g.to && n < ends; i++ {
		if s.why[i] == kept {
			sum += s.hr[i]
			n++
		}
	}
	g.first = sum / float64(max(n, 1))
	sum, n = 0, 0
	for i := g.to - 1; i >= g.from && n < ends; i-- {
		if s.why[i] == kept {
			if n == 0 {
				g.end = s.at[i]
			}
			sum += s.hr[i]
			n++
		}
	}
	g.last = sum / float64(max(n, 1))
}

// dropBetween takes out segments, alone or several in a row, of at most longest
// seconds together whose neighbours agree; the neighbours become one.
func (s *series) dropBetween(segs []segment, longest float64) []segment {
	out := segs[:1]
	for i := 1; i < len(segs); i++ {
		p := &out[len(out)-1]
		last := -1
		for j := i; j+1 < len(segs) && j < i+6 && segs[j].end-segs[i].begin <= longest; j++ {
			if s.outlie(p, segs[i:j+1], &segs[j+1], longest) {
				last = j
				break
			}
		}
		if last < 0 {
			out = append(out, segs[i])
			continue
		}
		for k := i; k <= last; k++ {
			s.mark(&segs[k], s.kindOf(p, &segs[k], &segs[last+1]))
		}
		p.to = segs[last+1].to
		s.measure(p)
		i = last + 1
	}
	return out
}

// outlie reports whether the levels of the middle segments are off both
// neighbours, which agree as well as heart rate can over the time between them.
func (s *series) outlie(p *segment, middle []segment, n *segment, longest float64) bool {
	first, last := &middle[0], &middle[len(middle)-1]
	apart := n.begin - p.end
	if apart > longest+2*bridged {
		return false
	}
	between := n.first - p.last
	if math.Abs(between) > s.allowed(1)+min(0.4*apart, 22) {
		return false
	}
	into, out := first.first-p.last, n.first-last.last
	if len(middle) > 1 {
		// Several in a row: a burst between two calm stretches.
		calm := min(p.to-p.from, n.to-n.from)
		return calm >= 4 && min(math.Abs(into), math.Abs(out)) > 0.6*s.allowed(1)
	}
	if into*out >= 0 {
		return false // it goes on in the same direction: a steep change
	}
	return min(math.Abs(into), math.Abs(out)) > max(math.Abs(between)*0.6, 0.6*s.allowed(1))
}

// dropShreds takes out segments of one or two samples that are left between
// two jumps in opposite directions: no level can be told from them. Two jumps
// the same way may be a steep change that was recorded seldom.
func (s *series) dropShreds(segs []segment) []segment {
	out := segs[:0]
	for i := range segs {
		g := segs[i]
		if g.to-g.from <= 2 && len(out) > 0 && i+1 < len(segs) &&
			(g.first-out[len(out)-1].last)*(segs[i+1].first-g.last) < 0 {
			s.mark(&g, spike)
			continue
		}
		out = append(out, g)
	}
	return out
}

func (s *series) kindOf(p, g, n *segment) drop {
	around := (p.last + n.first) / 2
	level := (g.first + g.last) / 2
	long := g.end-g.begin > 6*s.interval
	switch {
	case long && level > 0.43*around && level < 0.57*around:
		return halved
	case long && level > 1.8*around && level < 2.2*around:
		return doubled
	case long && s.nearCadence(g):
		return onCadence
	case g.end-g.begin <= 12:
		return spike
	default:
		return slipped
	}
}

func (s *series) nearCadence(g *segment) bool {
	near, n := 0, 0
	for i := g.from; i < g.to; i++ {
		if s.why[i] == kept {
			n++
			if s.cad[i] > 0 && math.Abs(s.hr[i]-float64(s.cad[i])) <= 5 {
				near++
			}
		}
	}
	return n > 0 && near*5 >= n*4
}

func (s *series) mark(g *segment, why drop) {
	for i := g.from; i < g.to; i++ {
		if s.why[i] == kept {
			s.why[i] = why
			s.marked++
		}
	}
}

// dropEnds takes out a short first or last segment: a strap that settles.
func (s *series) dropEnds(segs []segment) []segment {
	if len(segs) > 1 && segs[0].end-segs[0].begin < 15 {
		s.mark(&segs[0], spike)
		segs = segs[1:]
	}
	if k := len(segs) - 1; k > 0 && segs[k].end-segs[k].begin < 15 {
		s.mark(&segs[k], spike)
		segs = segs[:k]
	}
	return segs
}

// isStep reports whether the change between two segments is sudden against
// the slopes on both sides: a fast start of a run is steep, not sudden.
func (s *series) isStep(a, b *segment) (size float64, ok bool) {
	dt := max(b.begin-a.end, s.interval)
	jump := s.hr[b.from] - s.hr[a.to-1]
	slope := (s.slope(a.to-1, -1) + s.slope(b.from, 1)) / 2
	steep := max(math.Abs(s.slope(a.to-1, -1)), math.Abs(s.slope(b.from, 1)), math.Abs(slope))
	// A response is steepest at its beginning, more than the slope after shows.
	rest := math.Abs(jump) - min(1.5*steep, steepest)*dt
	if rest < max(4, 3*s.wiggle) {
		return jump, false
	}
	// It must stay: the levels on both sides differ as the two samples do.
	stays := b.first - a.last - slope*5*s.interval
	return jump, stays*jump > 0 && math.Abs(stays) > 0.5*math.Abs(jump)
}

// mostLooked samples on either side are enough to see a level or a slope, however
// dense the samples are.
const mostLooked = 64

// steepest is the fastest change in bpm/s that a heart rate keeps up for some
// seconds: the start of a run with a time constant of 15 s and a rise of 75 bpm,
// and the low end of the 5 to 10 bpm/s recalled from the literature (FACTS 4.5,
// MEMORY).
const steepest = 5.0

// slope in bpm/s over about 6 s from sample i in the given direction.
func (s *series) slope(i, direction int) float64 {
	last := i
	for k := i; k >= 0 && k < len(s.hr) && abs(k-i) <= mostLooked && math.Abs(s.at[k]-s.at[i]) <= max(6, 1.2*s.interval); k += direction {
		if s.why[k] == kept {
			last = k
		}
	}
	if last == i {
		return 0
	}
	return (s.hr[last] - s.hr[i]) / (s.at[last] - s.at[i])
}

// dropNoise takes out what is left inside a burst: where two readings in five
// within 7 s either way were dropped as spikes, the others can't be trusted.
func (s *series) dropNoise() {
	lo, hi, bad, all := 0, 0, 0, 0
	burst := func(i int) bool { return s.why[i] == spike || s.why[i] == doubled || s.why[i] == halved }
	if s.marked < 3 {
		return
	}
	for i := range s.hr {
		for hi < len(s.hr) && s.at[hi] <= s.at[i]+7 {
			if burst(hi) {
				bad++
			}
			all++
			hi++
		}
		for s.at[lo] < s.at[i]-7 {
			if burst(lo) {
				bad--
			}
			all--
			lo++
		}
		if s.why[i] == kept && bad >= 3 && bad*5 >= all*2 {
			s.why[i] = noisy
		}
	}
}
