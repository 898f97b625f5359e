package holdout

import (
	"math"
	"math/rand/v2"
)

// heart is an invented athlete's on one day. Rates are in bpm, times in s.
type heart struct {
	top, rest float64
	// Rise: a fast and a slow component after their delays.
	fastUp, slowUp   float64 // time constants
	slowShare        float64 // of the slow component in the response to work
	delayUp          float64
	creep            float64 // bpm/min of drift in work above half of the reserve
	fastOff, slowOff float64 // vagal rebound, then the slow rest of recovery
	reboundShare     float64 // of the fast part in recovery
	hold, overshoot  float64 // s that the rate holds after stopping, bpm it goes over
	breath, mayer    float64 // amplitudes of breathing and of slow waves at rest
	breathsPerMinute float64
}

func newHeart(r *rand.Rand) *heart {
	return &heart{
		top: within(r, 182, 206), rest: within(r, 62, 92),
		fastUp: within(r, 11, 34), slowUp: within(r, 70, 160), slowShare: within(r, 0.08, 0.30),
		delayUp: within(r, 0, 4), creep: within(r, 0, 1.6),
		fastOff: within(r, 18, 42), slowOff: within(r, 110, 260), reboundShare: within(r, 0.5, 0.8),
		hold: within(r, 3, 8), overshoot: within(r, 0, 2),
		breath: within(r, 0.4, 2.4), mayer: within(r, 0.3, 1.6), breathsPerMinute: within(r, 11, 17),
	}
}

// act is a stretch of one kind of doing. work is a share of the reserve.
type act struct {
	seconds int
	work    float64
	pace    float64 // m/s
	steps   float64 // a minute
	uneven  float64 // SD of the work, with a memory of about 12 s
	running bool
}

// beat runs the acts and returns heart rate each second.
func (h *heart) beat(r *rand.Rand, acts []act) []float64 {
	n := 0
	for _, a := range acts {
		n += a.seconds
	}
	out := make([]float64, 0, n)
	fast, slow, creep, uneven := 0.0, 0.0, 0.0, 0.0
	phase, mayerPhase := within(r, 0, 6.28), within(r, 0, 6.28)
	start := acts[0].work * (h.top - h.rest)
	fast, slow = start*(1-h.slowShare), start*h.slowShare
	stopped := math.Inf(1) // s since the last run stopped
	var was act
	since := 0.0
	for i, a := range acts {
		if i > 0 && was.running && !a.running {
			stopped = 0
		}
		if i > 0 {
			since = 0
		}
		for range a.seconds {
			uneven += -uneven/12 + a.uneven*math.Sqrt(2.0/12)*r.NormFloat64()
			want := max(0, a.work+uneven) * (h.top - h.rest)
			if since < h.delayUp && i > 0 && a.work > was.work {
				want = max(0, was.work) * (h.top - h.rest)
			}
			bump := 0.0
			if stopped < h.hold {
				want = was.work * (h.top - h.rest)
				bump = h.overshoot * math.Sin(math.Pi*stopped/h.hold)
			}
			wantFast, wantSlow := want*(1-h.slowShare), want*h.slowShare
			if fast <= wantFast {
				fast += (wantFast - fast) / h.fastUp
			} else {
				// What was built up leaves in two parts: the rebound quickly
				// as long as there is much of it, the rest slowly.
				over := fast - wantFast
				quick := max(0, over-(1-h.reboundShare)*0.55*(h.top-h.rest)*0.5)
				fast -= quick/h.fastOff + (over-quick)/h.slowOff
			}
			if slow <= wantSlow {
				slow += (wantSlow - slow) / h.slowUp
			} else {
				slow -= (slow - wantSlow) / (h.slowOff * 0.6)
			}
			if a.work > 0.5 {
				creep += h.creep / 60
			} else {
				creep -= creep / 200
			}
			level := (fast + slow) / (h.top - h.rest)
			calm := max(0.15, 1-1.1*level) // waves are damped in exercise
			phase += 2 * math.Pi * (h.breathsPerMinute + 14*level) / 60 * (1 + 0.1*r.NormFloat64())
			mayerPhase += 2 * math.Pi * 0.1 * (1 + 0.2*r.NormFloat64())
			hr := h.rest + fast + slow + creep + bump + calm*(h.breath*math.Sin(phase)+h.mayer*math.Sin(mayerPhase))
			out = append(out, min(hr, h.top))
			since++
			stopped++
		}
		was = a
	}
	return out
}

func within(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

func whole(r *rand.Rand, low, high int) int { return low + r.IntN(high-low+1) }
