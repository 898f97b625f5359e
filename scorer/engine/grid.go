package engine

import (
	"math"

	"canter.example/schemas"
)

// reference is taken off heart rates in running sums, to keep them small.
const reference = 120

// The grid begins head seconds before the trace, and ends lead and the test's
// length after it, so that windows that reach out of the trace need no care: a
// test may have begun minutes before the strap came on.
const head, lead = 256, 128

// grid holds one heart rate a second for searching. Gaps are filled by lines
// between the valid samples at their edges, the ends by holding; which seconds
// were really covered is counted in valid. No reported number comes from it.
type grid struct {
	origin float64   // trace time of second 0 of the trace in the grid
	x      []float64 // heart rate - reference
	sum    []float64 // sum[k] = Σ x[j], j < k
	sum2   []float64 // of x²
	sumT   []float64 // of (j)·x
	valid  []int32   // valid[k] = covered seconds before k
	// speed: running sums of v, v² and count of seconds with speed.
	speed  []float64
	speed2 []float64
	speedN []int32
	n      int // seconds of the trace; x is longer on both sides
	begin  int // first second that was covered: the strap may have come on late
}

// second returns the grid's index of a trace time, not limited to the grid.
func (g *grid) second(t float64) int { return head + int(math.Round(t-g.origin)) }

// time returns the trace time of a grid index.
func (g *grid) time(k int) float64 { return g.origin + float64(k-head) }

// fill makes the grid of a cleaned trace for tests of the given length.
func (g *grid) fill(s *series, test int) {
	g.origin = s.at[0]
	g.n = int(math.Ceil(s.at[len(s.at)-1]-s.at[0])) + 1
	size := head + g.n + test + lead
	g.x, g.sum, g.sum2 = grow(g.x, size), grow(g.sum, size+1), grow(g.sum2, size+1)
	g.sumT, g.valid = grow(g.sumT, size+1), grow(g.valid, size+1)
	g.fillRates(s)
	g.sum[0], g.sum2[0], g.sumT[0] = 0, 0, 0
	var sum, sum2, sumT float64
	for k, v := range g.x {
		sum += v
		sum2 += v * v
		sumT += float64(k) * v
		g.sum[k+1], g.sum2[k+1], g.sumT[k+1] = sum, sum2, sumT
	}
	g.speedN = g.speedN[:0]
}

// fillRates walks the valid samples and the seconds side by side.
func (g *grid) fillRates(s *series) {
	k, prev := 0, -1
	covered := g.valid
	covered[0] = 0
	g.begin = len(g.x)
	count := int32(0)
	for i := range s.at {
		if s.why[i] != kept {
			continue
		}
		here := s.at[i] - g.origin + head
		v := s.hr[i] - reference
		if prev < 0 {
			for ; k < len(g.x) && float64(k) < here; k++ {
				g.x[k] = v
				covered[k+1] = count
			}
			g.begin = k
		} else {
			before := s.at[prev] - g.origin + head
			v0 := s.hr[prev] - reference
			slope := (v - v0) / (here - before)
			until := before + s.hold[prev]
			for ; k < len(g.x) && float64(k) < here; k++ {
				g.x[k] = v0 + slope*(float64(k)-before)
				if float64(k) < until {
					count++
				}
				covered[k+1] = count
			}
		}
		prev = i
	}
	last, until := 0.0, 0.0
	if prev >= 0 {
		last = s.hr[prev] - reference
		until = s.at[prev] - g.origin + head + s.hold[prev]
	}
	for ; k < len(g.x); k++ {
		g.x[k] = last
		if float64(k) < until {
			count++
		}
		covered[k+1] = count
	}
}

// fillSpeed makes the running sums of speed, each sample standing for its hold,
// the middle of it being its time: a change between two samples is as likely
// nearer to one as to the other.
func (g *grid) fillSpeed(s *series) {
	size := len(g.x)
	g.speed, g.speed2, g.speedN = grow(g.speed, size+1), grow(g.speed2, size+1), grow(g.speedN, size+1)
	g.speed[0], g.speed2[0], g.speedN[0] = 0, 0, 0
	k, n := 0, int32(0)
	var sum, sum2 float64
	add := func(until float64, v float64, count int32) {
		for ; k < size && float64(k) < until; k++ {
			sum, sum2, n = sum+v, sum2+v*v, n+count
			g.speed[k+1], g.speed2[k+1], g.speedN[k+1] = sum, sum2, n
		}
	}
	for i := range s.at {
		here := s.at[i] - g.origin + head
		half := max(s.hold[i], 1) / 2
		add(here-half+0.5, 0, 0)
		if s.have[i]&schemas.HasSpeed != 0 {
			add(here+half+0.5, float64(s.speed[i]), 1)
		}
	}
	add(float64(size), 0, 0)
}

// mean of x over [a, b), which must lie in the grid and hold a second.
func (g *grid) mean(a, b int) float64 { return (g.sum[b] - g.sum[a]) / float64(b-a) }

// sumSquares of x over [a, b).
func (g *grid) sumSquares(a, b int) float64 { return g.sum2[b] - g.sum2[a] }

// share of [a, b) that was covered by valid samples.
func (g *grid) share(a, b int) float64 {
	a, b = max(a, 0), min(b, len(g.x))
	if b <= a {
		return 0
	}
	return float64(g.valid[b]-g.valid[a]) / float64(b-a)
}

// aboutLine returns the sum of squares of x about its straight line in [a, b).
func (g *grid) aboutLine(a, b int) float64 {
	n := float64(b - a)
	s := g.sum[b] - g.sum[a]
	t := g.sumT[b] - g.sumT[a] - s*(float64(a)+(n-1)/2) // about the middle
	stt := n * (n*n - 1) / 12
	return max(0, g.sum2[b]-g.sum2[a]-s*s/n-t*t/stt)
}

// slope is that of the straight line through x in [a, b), in bpm/s.
func (g *grid) slope(a, b int) float64 {
	n := float64(b - a)
	s := g.sum[b] - g.sum[a]
	t := g.sumT[b] - g.sumT[a] - s*(float64(a)+(n-1)/2)
	return t / (n * (n*n - 1) / 12)
}

// meanSpeed returns mean, standard deviation and count of speeds in [a, b).
func (g *grid) meanSpeed(a, b int) (mean, sd float64, n int) {
	a, b = max(a, 0), min(b, len(g.x))
	if len(g.speedN) == 0 || b <= a {
		return 0, 0, 0
	}
	n = int(g.speedN[b] - g.speedN[a])
	if n == 0 {
		return 0, 0, 0
	}
	mean = (g.speed[b] - g.speed[a]) / float64(n)
	sd = math.Sqrt(max(0, (g.speed2[b]-g.speed2[a])/float64(n)-mean*mean))
	return mean, sd, n
}

// speedSquares is the sum of squares of speed about its mean in [a, b), and
// the count.
func (g *grid) speedSquares(a, b int) (ss float64, n int32) {
	a, b = max(a, 0), min(b, len(g.x))
	n = g.speedN[b] - g.speedN[a]
	if n == 0 {
		return 0, 0
	}
	sum := g.speed[b] - g.speed[a]
	return max(0, g.speed2[b]-g.speed2[a]-sum*sum/float64(n)), n
}
