package judge

import (
	"math"
	"math/rand/v2"
)

// spot is where an artefact strikes: the test it should touch, in seconds of
// the stream, and how bad it is, from 1 to 3.
type spot struct {
	test     Test
	severity int
	body     *Body
	device   *Device
}

// artefact spoils the readings of a stream.
type artefact struct {
	name  string
	spoil func(*stream, spot, *rand.Rand)
}

// artefacts of the readings; those of the clock are in artefact_time.go, and
// ectopic beats are made with the beats (make.go).
var artefacts = []artefact{
	{"dropouts", func(s *stream, at spot, r *rand.Rand) {
		for range at.severity + 1 {
			at.each(s, r, at.length(r, 4, 10, 15, 40, 60, 120), func(i int) { s.hr[i] = math.NaN() })
		}
	}},
	{"zeros", func(s *stream, at spot, r *rand.Rand) {
		for range at.severity + 1 {
			at.each(s, r, at.length(r, 1, 5, 8, 30, 45, 100), func(i int) { s.hr[i] = 0 })
		}
	}},
	{"spikes", func(s *stream, at spot, r *rand.Rand) {
		for range [...]int{0, 3, 10, 30}[at.severity] {
			by := between(r, 20, 70)
			if r.Float64() < 0.5 {
				by = -by
			}
			at.each(s, r, secs(r, 1, 2), func(i int) { s.hr[i] += by })
		}
	}},
	{"steps", func(s *stream, at spot, r *rand.Rand) {
		by := between(r, 7, 28)
		if r.Float64() < 0.6 {
			by = -by
		}
		at.each(s, r, at.length(r, 8, 20, 25, 60, 70, 160), func(i int) { s.hr[i] += by })
	}},
	{"stuck", func(s *stream, at spot, r *rand.Rand) {
		held := math.NaN()
		at.each(s, r, at.length(r, 8, 20, 30, 60, 80, 180), func(i int) {
			if math.IsNaN(held) {
				held = s.hr[i]
			}
			s.hr[i] = held
		})
	}},
	{"halving", func(s *stream, at spot, r *rand.Rand) {
		at.each(s, r, at.length(r, 3, 10, 15, 40, 60, 150), func(i int) { s.hr[i] /= 2 })
	}},
	{"doubling", func(s *stream, at spot, r *rand.Rand) {
		at.each(s, r, at.length(r, 3, 10, 15, 40, 60, 150), func(i int) { s.hr[i] = min(2*s.hr[i], 240) })
	}},
	{"lock on step cadence", func(s *stream, at spot, r *rand.Rand) {
		steps := between(r, -1, 1)
		at.each(s, r, at.length(r, 15, 30, 50, 100, 150, 330), func(i int) {
			if s.cadence[i] > 120 {
				s.hr[i] = s.cadence[i] + steps + r.NormFloat64()
			}
		})
	}},
	{"implausible slopes", func(s *stream, at spot, r *rand.Rand) {
		for range at.severity {
			by, n, i0 := between(r, 25, 60), secs(r, 5, 12), -1
			if r.Float64() < 0.5 {
				by = -by
			}
			at.each(s, r, n, func(i int) {
				if i0 < 0 {
					i0 = i
				}
				x := float64(i-i0) / float64(n)
				s.hr[i] += by * (1 - math.Abs(2*x-1))
			})
		}
	}},
	{"above HRmax", func(s *stream, at spot, r *rand.Rand) {
		to := at.body.HRmax + between(r, 3, 30)
		at.each(s, r, at.length(r, 5, 12, 20, 50, 60, 150), func(i int) { s.hr[i] = to + 1.5*r.NormFloat64() })
	}},
	{"optical: slow to follow", func(s *stream, at spot, _ *rand.Rand) {
		tau := [...]float64{0, 6, 12, 20}[at.severity]
		x := s.hr[0]
		for i, v := range s.hr {
			x += (v - x) / tau
			s.hr[i] = x
		}
	}},
	{"optical: first minutes wrong", func(s *stream, at spot, r *rand.Rand) {
		n := min(at.length(r, 40, 60, 80, 120, 130, 230), at.test.End-at.test.Start-5)
		share := between(r, 0.55, 0.75)
		for i := at.test.Start; i < at.test.Start+n && i < len(s.hr); i++ {
			from := s.hr[at.test.Start-1]
			x := clamp(float64(i-at.test.Start-n+12)/12, 0, 1)
			low := from + (s.hr[i]-from)*(1-share)*0.8 + 2*r.NormFloat64()
			s.hr[i] = low + (s.hr[i]-low)*x
		}
	}},
	{"slow drift of the gain", func(s *stream, at spot, r *rand.Rand) {
		to := [...]float64{0, 0.02, 0.045, 0.09}[at.severity]
		if r.Float64() < 0.5 {
			to = -to
		}
		a, n := at.test.Start-120, float64(at.test.End-at.test.Start+180)
		for i := range s.hr {
			s.hr[i] *= 1 + to*clamp(float64(i-a)/n, 0, 1)
		}
	}},
}

// length draws the length of a spell for the severity, between the pairs given.
func (at spot) length(r *rand.Rand, lo1, hi1, lo2, hi2, lo3, hi3 int) int {
	switch at.severity {
	case 1:
		return secs(r, lo1, hi1)
	case 2:
		return secs(r, lo2, hi2)
	default:
		return secs(r, lo3, hi3)
	}
}

// each calls f for n seconds that begin somewhere from 30 s before the test to
// a minute and a half after it; one in three ends in the minute that decides HRex.
func (at spot) each(s *stream, r *rand.Rand, n int, f func(i int)) {
	from := secs(r, at.test.Start-30, at.test.End+90-min(n, 60))
	if r.Float64() < 0.33 {
		from = at.test.End - secs(r, 0, 60) - n/2
	}
	for i := max(from, 0); i < min(from+n, len(s.hr)); i++ {
		f(i)
	}
}

// unworn is a strap in a bag: nothing, zeros, now and then nonsense.
func unworn(s *stream, r *rand.Rand) {
	v := math.NaN()
	for i := range s.hr {
		if r.Float64() < 0.02 {
			v = [...]float64{math.NaN(), math.NaN(), 0, 0, 62, 118, 181}[r.IntN(7)]
		}
		s.hr[i] = v
	}
}
