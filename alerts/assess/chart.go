package assess

import "math"

// EWMA returns the exponentially weighted moving average of x,
//
//	z[i] = lambda·x[i] + (1-lambda)·z[i-1],  z[-1] = start
//
// with lambda in (0, 1] (NIST/SEMATECH e-Handbook 6.3.2.4; FACTS 5a).
func EWMA(x []float64, lambda, start float64) []float64 {
	z := make([]float64, len(x))
	for i, v := range x {
		start = lambda*v + (1-lambda)*start
		z[i] = start
	}
	return z
}

// EWMALimits returns the control limits of an EWMA after n values (from 1) of
// SD sd around target, l standard errors wide; n 0 gives the limits they
// approach:
//
//	target ± l·sd·sqrt(lambda/(2-lambda)·(1-(1-lambda)^(2n)))
func EWMALimits(target, sd, lambda, l float64, n int) (low, high float64) {
	share := lambda / (2 - lambda)
	if n > 0 {
		share *= 1 - math.Pow(1-lambda, 2*float64(n))
	}
	half := l * sd * math.Sqrt(share)
	return target - half, target + half
}

// Drift is a two-sided cumulative sum chart.
type Drift struct {
	// Hi and Lo are the sums for upward and downward drift after each value.
	Hi, Lo []float64
	// Signal is the index of the first value at which a sum passed h, -1 when
	// none did; Up tells which. Since is the index of the first value of the
	// unbroken climb that led there: when the drift began, as far as the
	// chart can tell.
	Signal int
	Up     bool
	Since  int
}

// CUSUM returns the two-sided tabular cumulative sum of x around target, with
// allowance k and decision limit h in x's unit:
//
//	hi[i] = max(0, hi[i-1] + x[i] - target - k)
//	lo[i] = max(0, lo[i-1] + target - k - x[i])
//
// (NIST/SEMATECH e-Handbook 6.3.2.3; FACTS 5b, 5c). With k half the shift that
// matters, it finds small lasting changes sooner than any single-test rule.
func CUSUM(x []float64, target, k, h float64) Drift {
	d := Drift{Hi: make([]float64, len(x)), Lo: make([]float64, len(x)), Signal: -1, Since: -1}
	var hi, lo float64
	var hiFrom, loFrom int
	for i, v := range x {
		if hi == 0 {
			hiFrom = i
		}
		if lo == 0 {
			loFrom = i
		}
		hi = max(0, hi+v-target-k)
		lo = max(0, lo+target-k-v)
		d.Hi[i], d.Lo[i] = hi, lo
		switch {
		case d.Signal >= 0:
		case hi > h:
			d.Signal, d.Up, d.Since = i, true, hiFrom
		case lo > h:
			d.Signal, d.Since = i, loFrom
		}
	}
	return d
}

// CUSUMRunLength approximates the average number of values until a two-sided
// CUSUM signals, for k and h in SDs and a lasting shift in SDs. For each side,
// with a = shift - k (or -shift - k) and b = h + 1.166,
//
//	(exp(-2ab) + 2ab - 1) / (2a²),  b² when a = 0
//
// and the two add up as rates (Siegmund 1985, from memory; within 5 % of FACTS
// 5d for shifts to 2 SD).
func CUSUMRunLength(k, h, shift float64) float64 {
	side := func(a float64) float64 {
		b := h + 1.166
		if math.Abs(a) < 1e-6 {
			return b * b
		}
		return (math.Exp(-2*a*b) + 2*a*b - 1) / (2 * a * a)
	}
	return 1 / (1/side(shift-k) + 1/side(-shift-k))
}

// CUSUMLimit returns the h (in SDs) at which an unchanged athlete sets off a
// two-sided CUSUM of allowance k > 0 once in runLength tests on average, by
// [CUSUMRunLength]. Run lengths of 2 or less give 0.
func CUSUMLimit(k, runLength float64) float64 {
	low, high := 0.0, 1.0
	for high < 1e3 && CUSUMRunLength(k, high, 0) < runLength {
		high *= 2
	}
	for range 60 {
		mid := (low + high) / 2
		if CUSUMRunLength(k, mid, 0) < runLength {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}
