package engine

import "math"

// While heart rate rises fast, a sudden change of its level hides in the rise: an
// onset elsewhere, or a faster part, looks much like it. The response that fits
// best alone is therefore no measure of one. All onsets near the one found, with
// all pairs of time constants, are fitted with a change and without, on the grid,
// and the best of either kind are compared in full as in change.go.

// Limits of an early change; choices of this package, judged by the hold-out.
const (
	// earlyReach: seconds to either side of the rise's beginning at which it is let
	// begin.
	earlyReach = 6
	// earlyBefore: seconds before it from which on changes are looked for.
	earlyBefore = 10
	// earlyStride: seconds on the grid between the places tried for either.
	earlyStride = 2
)

// sureEarly reports whether an early change makes a wrong HRex and is likelier
// than none: of ten tests one may have it, at any of the readings looked at.
func (ch *change) sureEarly(readings int) bool {
	size := math.Abs(ch.size)
	return ch.gain > math.Log(10*float64(max(readings, 1))) && size-wrongHRex > changeZ*size/math.Sqrt(2*ch.gain)
}

// rival is a response with what it leaves of the sum of squares, and the change
// that it was given.
type rival struct {
	shape
	left float64
	step gridStep
}

// podium keeps the few rivals that leave least.
type podium struct {
	best [mostTried]rival
	n    int
}

func (p *podium) add(r *rival) {
	k := p.n
	for k > 0 && r.left < p.best[k-1].left {
		k--
	}
	if k == len(p.best) {
		return
	}
	p.n = min(p.n+1, len(p.best))
	copy(p.best[k+1:p.n], p.best[k:])
	p.best[k] = *r
}

// earlyChange looks for a sudden change of level around the beginning of a steady
// run's rise, where changeIn does not look. sh is the response that fits best; the
// readings at which it may be are counted.
func (f *finder) earlyChange(sh *shape) (ch change, readings int) {
	a, b := sh.onset-sh.p, sh.onset+sh.n
	if !f.profile.flat || !f.readingsIn(a, b) {
		return change{}, 0
	}
	from := max(sh.onset-earlyBefore, a+1)
	to := sh.onset + int(firstChange+firstSamples*f.series.interval)
	for _, r := range f.fresh.near {
		if r.at >= float64(from) && r.at < float64(to) {
			readings++
		}
	}
	var with, alone podium
	try := func(onset int, fast, slow *kernel) {
		r := rival{shape: shape{kernel: fast, slower: slow, onset: onset, p: onset - a, n: b - onset}}
		r.fit(&f.grid)
		if slow != nil && (r.x[2] <= 0 || r.x[4] <= 0) {
			return // both parts rise
		}
		r.left = r.ss
		alone.add(&r)
		if farOff(r.ss, alone.best[0].ss, r.p+r.n) {
			return
		}
		r.step = r.earlyStep(&f.grid, from, to)
		r.left -= r.step.fall
		with.add(&r)
	}
	for onset := max(sh.onset-earlyReach, a+1); onset <= sh.onset+earlyReach; onset += earlyStride {
		for i := range f.fineOn {
			try(onset, &f.fineOn[i], nil)
			for j := i + 1; j < len(f.fineOn); j++ {
				try(onset, &f.fineOn[i], &f.fineOn[j])
			}
		}
	}
	// Between the places tried, beside the best of either kind.
	for _, r := range [...]rival{with.best[0], alone.best[0]} {
		if r.kernel != nil && r.onset > a+1 {
			try(r.onset-1, r.kernel, r.slower)
			try(r.onset+1, r.kernel, r.slower)
		}
	}
	return f.fresh.compare(&with, &alone, float64(from), float64(to), f.series.interval), readings
}

// earlyStep is the step in grid seconds [from, to), before the onset or after it,
// that lowers the sum of squares most; see step. Sums of the grid and of the
// shapes spare the way through the seconds.
func (sh *shape) earlyStep(g *grid, from, to int) (best gridStep) {
	end := sh.onset + sh.n
	var at [5]float64
	for i := from; i < to; i += earlyStride {
		h := sh.from(i)
		r := g.sum[end] - g.sum[i]
		for k, x := range sh.x {
			r -= x * h[k]
		}
		all := float64(end - i)
		free := all - sh.sums.explained(&h)
		if free < 1e-6*all {
			continue
		}
		if v := r * r / free; v > best.fall {
			best.at, best.size, best.fall, at = i, r/free, v, h
		}
	}
	best.x = sh.x
	by, _ := sh.sums.solve(&at)
	for i := range best.x {
		best.x[i] -= by[i] * best.size
	}
	return best
}

// from are the sums of a response's shapes from grid second i to its end.
func (sh *shape) from(i int) (h [5]float64) {
	k, n, j := sh.kernel, sh.n, max(i-sh.onset, 0)
	rest := float64(n - j)
	h = [5]float64{rest, 0, rest - k.e1[n] + k.e1[j], k.g1[n] - k.g1[j]}
	if s := sh.slower; s != nil {
		h[4] = rest - s.e1[n] + s.e1[j]
	}
	if ahead := float64(sh.onset - i); ahead > 0 {
		h[0], h[1] = rest+ahead, -ahead*(ahead+1)/2
	}
	return h
}

// compare fits responses in full, to what is new in each reading, and returns the
// change from grid time from to to of the one that it helps to fit best.
func (u *fresh) compare(with, alone *podium, from, to, interval float64) (best change) {
	if with.n == 0 {
		return change{}
	}
	u.correlate(&with.best[0].shape, &with.best[0].step, interval)
	none, some := math.Inf(1), math.Inf(1)
	for i := range alone.n {
		_, _, ss := u.fit(&alone.best[i].shape)
		none = min(none, ss)
	}
	for i := range with.n {
		sh := &with.best[i].shape
		ss, ch, fall := u.step(sh, from-float64(sh.onset), to)
		none = min(none, ss)
		if ss-fall < some {
			some, best = ss-fall, ch
		}
	}
	n := float64(len(u.near))
	best.gain = n / 2 * math.Log((none+exactVar*n)/(some+exactVar*n))
	return best
}
