package engine

import (
	"math"
	"sort"
)

// average is what the samples say of one half-open stretch of time.
type average struct {
	mean    float64 // time-weighted over valid samples; 0 when seconds is 0
	seconds float64 // valid seconds
	want    float64 // length of the window
	n       int     // valid samples that contribute
	peak    float64 // highest contributing sample
}

// coverage is valid seconds over the window's seconds, 0 to 1.
func (a average) coverage() float64 {
	if a.want <= 0 {
		return 0
	}
	return min(a.seconds/a.want, 1)
}

// firstAt returns the first sample whose hold may reach past t.
func (s *series) firstAt(t float64) int {
	return sort.SearchFloat64s(s.at, t-longestHold)
}

// window averages heart rate over from ≤ t < to (seconds since the trace's
// start). Each valid sample counts for the part of its hold inside the window:
//
//	mean = Σ hrᵢ wᵢ / Σ wᵢ,  wᵢ = |[atᵢ, atᵢ+holdᵢ) ∩ [from, to)|
func (s *series) window(from, to float64) average {
	sum, seconds, peak, n := 0.0, 0.0, 0.0, 0
	for i := s.firstAt(from); i < len(s.at) && s.at[i] < to; i++ {
		if s.why[i] != kept {
			continue
		}
		begin, end := s.at[i], s.at[i]+s.hold[i]
		if begin < from {
			begin = from
		}
		if end > to {
			end = to
		}
		w := end - begin
		if w <= 1e-9 {
			continue
		}
		v := s.hr[i]
		sum, seconds, n = sum+w*v, seconds+w, n+1
		if v > peak {
			peak = v
		}
	}
	a := average{want: to - from, seconds: seconds, n: n, peak: peak}
	if seconds > 0 {
		a.mean = sum / seconds
	}
	return a
}

// highest returns the window of the given length inside from ≤ t < to with the
// highest mean among those with at least the given coverage, and its start.
// Windows begin at whole seconds after from. When none has the coverage, the
// best covered one is returned.
func (s *series) highest(from, to, length, coverage float64) (average, float64) {
	best, bestAt := average{want: length}, from
	var fallback average
	fallbackAt := from
	for at := from; at+length <= to+1e-9; at++ {
		a := s.window(at, at+length)
		if a.coverage() >= coverage {
			if best.seconds == 0 || a.mean > best.mean {
				best, bestAt = a, at
			}
		} else if a.seconds > fallback.seconds {
			fallback, fallbackAt = a, at
		}
	}
	if best.seconds == 0 {
		fallback.want = length
		return fallback, fallbackAt
	}
	return best, bestAt
}

// noise describes how heart rate scatters about a straight line in a window.
type noise struct {
	sd    float64 // bpm
	r     float64 // correlation of neighbouring residuals
	slope float64 // bpm/s
	n     int
}

// se is the standard error of the mean of n such values: with correlation r
// between neighbours, n values are worth n(1-r)/(1+r).
func (v noise) se(n int) float64 {
	if n == 0 {
		return math.Inf(1)
	}
	worth := max(1, float64(n)*(1-v.r)/(1+v.r))
	return v.sd / math.Sqrt(worth)
}

// noiseIn fits a line to the valid samples of a window and returns the scatter
// about it. A rounded reading has at least the scatter of rounding, 0.29 bpm.
func (s *series) noiseIn(from, to float64) noise {
	var n, st, sy, stt, sty float64
	i0 := sort.SearchFloat64s(s.at, from)
	for i := i0; i < len(s.at) && s.at[i] < to; i++ {
		if s.why[i] != kept {
			continue
		}
		t := s.at[i] - from
		n++
		st += t
		sy += s.hr[i]
		stt += t * t
		sty += t * s.hr[i]
	}
	out := noise{sd: 1, n: int(n)}
	if n < 4 {
		return out
	}
	det := n*stt - st*st
	if det > 0 {
		out.slope = (n*sty - st*sy) / det
	}
	level := (sy - out.slope*st) / n
	var ss, cross, prev float64
	first := true
	for i := i0; i < len(s.at) && s.at[i] < to; i++ {
		if s.why[i] != kept {
			continue
		}
		e := s.hr[i] - level - out.slope*(s.at[i]-from)
		ss += e * e
		if !first {
			cross += e * prev
		}
		prev, first = e, false
	}
	out.sd = max(math.Sqrt(ss/(n-2)), 0.29)
	if ss > 0 {
		out.r = min(max(cross/ss, 0), 0.95)
	}
	return out
}
