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
	// leastMove (bpm): a change that makes HRex wrong moves heart rate by more than
	// 3 bpm from one reading to the next. The response that fits best alone takes
	// some of it; when no two readings differ by this much more than the response
	// does, there is nothing to look for.
	leastMove = 2.5
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
	fast int // place of its time constant in the list
	left float64
	step gridStep
}

// podium keeps the few rivals that leave least.
type podium struct {
	best [mostTried]rival
	n    int
}

func (p *podium) add(sh *shape, fast int, step gridStep) {
	k, left := p.n, sh.ss-step.fall
	for k > 0 && left < p.best[k-1].left {
		k--
	}
	if k == len(p.best) {
		return
	}
	p.n = min(p.n+1, len(p.best))
	copy(p.best[k+1:p.n], p.best[k:])
	p.best[k] = rival{shape: *sh, fast: fast, left: left, step: step}
}

// earlyChange looks for a sudden change of level around the beginning of a steady
// run's rise, where changeIn does not look. sh is the response that fits best; the
// readings at which it may be are counted.
func (f *finder) earlyChange(sh *shape) (ch change, readings int) {
	a, b := sh.onset-sh.p, sh.onset+sh.n
	if !f.readingsIn(a, b) {
		return change{}, 0
	}
	from := max(sh.onset-earlyBefore, a+1)
	to := min(sh.onset+int(firstChange+firstSamples*f.series.interval), b-int(lastChange))
	most := 0.0
	for i, r := range f.fresh.near {
		if r.at >= float64(from) && r.at < float64(to) {
			readings++
			if i > 0 {
				most = max(most, math.Abs(sh.unlike(f.fresh.near[i-1], r)))
			}
		}
	}
	if most < leastMove {
		return change{}, readings
	}
	var with, alone podium
	try := func(fast, onset int) {
		f.shapes = f.fitShapes(f.shapes[:0], fast, onset, a, b)
		for i := range f.shapes {
			r := &f.shapes[i]
			alone.add(r, fast, gridStep{})
			if !farOff(r.ss, alone.best[0].ss, b-a) {
				with.add(r, fast, r.earlyStep(&f.grid, from, to))
			}
		}
	}
	f.eachRise(sh.onset, a, earlyStride, try)
	// Between the places tried, beside the best of either kind.
	for _, r := range [...]rival{with.best[0], alone.best[0]} {
		for _, by := range [...]int{-1, 1} {
			if onset := r.onset + by; onset > a {
				try(r.fast, onset)
			}
		}
	}
	u := &f.fresh
	ch, none, some := u.compare(&with, &alone, float64(from), float64(to), f.series.interval)
	if ch.gain = u.gain(none, some); !ch.sureEarly(readings) {
		return ch, readings
	}
	// The grid's lines between sparse readings round the onset: now that it matters,
	// no response at all may do without the change.
	f.eachRise(sh.onset, a, 1, func(fast, onset int) {
		f.shapes = f.fitShapes(f.shapes[:0], fast, onset, a, b)
		for i := range f.shapes {
			_, _, ss := u.fit(&f.shapes[i])
			none = min(none, ss)
		}
	})
	ch.gain = u.gain(none, some)
	return ch, readings
}

// unlike is how much more heart rate moves from one reading to the next than the
// response does, in bpm.
func (sh *shape) unlike(r, next reading) float64 {
	was, is := sh.row(r.at), sh.row(next.at)
	moved := next.hr - r.hr
	for k, x := range sh.x {
		moved -= x * (is[k] - was[k])
	}
	return moved
}

// eachRise goes through the onsets to try, after grid second a, and the places of
// the time constants.
func (f *finder) eachRise(around, a, stride int, try func(fast, onset int)) {
	for onset := max(around-earlyReach, a+1); onset <= around+earlyReach; onset += stride {
		for fast := range f.fineOn {
			try(fast, onset)
		}
	}
}

// gain is the log likelihood of what leaves the sum of squares some over what
// leaves none.
func (u *fresh) gain(none, some float64) float64 {
	n := float64(len(u.near))
	return n / 2 * math.Log((none+exactVar*n)/(some+exactVar*n))
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
		free := all - sh.five.explained(&h)
		if free < 1e-6*all {
			continue
		}
		if v := r * r / free; v > best.fall {
			best.at, best.size, best.fall, at = i, r/free, v, h
		}
	}
	best.x = sh.x
	by := sh.five.solve(&at)
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

// compare fits responses in full, to what is new in each reading. It returns the
// change from grid time from to to of the one that it helps to fit best, and the
// least sums of squares without a change and with one.
func (u *fresh) compare(with, alone *podium, from, to, interval float64) (best change, none, some float64) {
	u.correlate(&with.best[0].shape, &with.best[0].step, interval)
	none, some = math.Inf(1), math.Inf(1)
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
	return best, none, some
}
