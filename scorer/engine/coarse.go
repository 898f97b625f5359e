package engine

import "math"

func (f *finder) coarseOn() []kernel { return f.coarse4[:coarseOns] }

func (f *finder) coarseOff() []kernel { return f.coarse4[coarseOns:] }

// coarse scores every sixth second by cheap tests first, and keeps the highest
// separate peaks, for a test of d seconds. With whole false only the beginning
// counts, whatever comes after d seconds.
func (f *finder) coarse(h *hints, d int, whole bool) {
	g := &f.grid
	first := max(before+2, head-d*6/10)
	last := head + g.n - d/2
	if last <= first {
		return
	}
	if whole {
		look(f.coarse4[:], g.x, 0, len(g.x))
	}
	for i := range f.coarseOn() {
		f.plansOn[i] = f.coarseOn()[i].onPlan(before, d-3)
	}
	for i := range f.coarseOff() {
		f.plansOff[i] = f.coarseOff()[i].offPlan(offBefore, offAfter)
	}
	f.scores = grow(f.scores, (last-first)/stride+1)
	for i := range f.scores {
		t := first + i*stride
		f.scores[i] = math.Inf(-1)
		if f.plausible(t, d, whole) {
			f.scores[i] = f.quick(t, d, whole)
			if h.any {
				f.scores[i] += h.evidence(g.time(t), nil)
			}
		}
	}
	for len(f.found) < mostCandidates {
		best, at := 4.0, -1
		for i, v := range f.scores {
			if v > best {
				best, at = v, i
			}
		}
		if at < 0 || (len(f.found) > 0 && best < f.found[0].coarse-mostBehind) {
			return
		}
		f.found = append(f.found, candidate{start: first + at*stride, length: d, coarse: best})
		for i := max(0, at-20/stride); i <= min(len(f.scores)-1, at+20/stride); i++ {
			f.scores[i] = math.Inf(-1)
		}
	}
}

// plausible is the cheap test: a level above 85 bpm in the second half of the
// test, that heart rate rose to or fell from.
func (f *finder) plausible(t, d int, whole bool) bool {
	g := &f.grid
	level := g.mean(t+d/2, t+d)
	if level < 85-reference {
		return false
	}
	rise := level - g.mean(t-12, t+4)
	if whole {
		fall := level - g.mean(t+d+30, t+d+50)
		if (rise < 7 && fall < 8) || rise+fall < 14 {
			return false
		}
	} else if end := t + f.profile.length; rise < 8 ||
		level-min(g.mean(end-25, end+5), g.mean(end+10, end+50)) < 6 {
		return false
	}
	return g.share(t, t+d) > 0.35
}

// quick scores second t on a coarse grid of responses.
func (f *finder) quick(t, d int, whole bool) float64 {
	g := &f.grid
	on := t + 1
	best := math.Inf(1)
	var at int
	for i := range f.coarseOn() {
		if ss := f.coarseOn()[i].leftOn(g, &f.plansOn[i], on); ss < best {
			best, at = ss, i
		}
	}
	a, b := on-before, on+d-3
	n := float64(b - a)
	late := f.unseen(on)
	if late {
		if a = f.grid.begin; b-a < leastSeen {
			return math.Inf(-1)
		}
		n = float64(b - a)
		best = f.alreadyOn(f.coarseOn(), a, b).ss
	}
	left := best/n + roundingVar
	score := 0.0
	if left > f.steady {
		score = -1.5 * n / (2 * worth) * math.Log(left/f.steady)
		if score < -mostOn-mostOff {
			return score // nothing can make up for it
		}
	}
	if !late { // what was not recorded is neither for the edge nor against it
		known := f.edgeKnown(on)
		pl := &f.plansOn[at]
		if x := pl.solve(f.coarseOn()[at].rightOn(g, pl, on)); x[2]+x[3]*f.coarseOn()[at].lateLoad(pl.n)-x[0] >= 6 {
			ev := n / (2 * worth) * math.Log((g.aboutLine(a, b)/n+roundingVar)/left)
			score += min(max(ev, 0), mostOn) * known
		} else {
			score -= noOn * known
		}
	}
	if !whole {
		return score
	}
	off, ev := f.quickEnd(t + d + 2)
	if off.fall() >= 6 {
		return score + min(ev, mostOff)
	}
	return score - noOff*f.edgeKnown(t+d+2)
}

// quickEnd fits a coarse grid of recoveries to an end at second t.
func (f *finder) quickEnd(t int) (recovery, float64) {
	g := &f.grid
	best := math.Inf(1)
	var at int
	for i := range f.coarseOff() {
		if ss := f.coarseOff()[i].leftOff(g, &f.plansOff[i], t); ss < best {
			best, at = ss, i
		}
	}
	r := f.coarseOff()[at].fitOff(g, &f.plansOff[at], t)
	if r.end-r.rest < 6 {
		return r, 0
	}
	n := float64(r.n)
	ev := 1.5 * n / (2 * worth) * math.Log((g.aboutLine(t-offBefore, t+offAfter)/n+roundingVar)/(best/n+roundingVar))
	return r, max(ev, 0) * f.edgeKnown(t)
}
