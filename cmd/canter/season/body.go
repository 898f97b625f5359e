package season

import (
	"math"
	"math/rand/v2"
)

// course is what body and legs did, second by second from the start of the
// recording. Values hold for the second that begins at their index.
type course struct {
	hr    []float64 // bpm, the body's own
	speed []float64 // m/s
	steps []float64 // a minute, both feet
	begin int       // of the test; -1 without one
}

// goal is what a test is made to show, before the heart's own unrest.
type goal struct {
	hrex float64 // bpm, mean over the last minute
	hrr  float64 // bpm, at 60 s
}

// live runs a workout through a body. Heart rate follows the demand with one
// time constant up and one down; in the test the demand is what gives the
// goal's HRex, and in the standing minute what gives its HRR. shift is added
// to every demand, in points of %HRmax: heat, illness and lost fitness are
// there all session long.
func live(r *rand.Rand, p *person, w []segment, g goal, shift float64) course {
	n := length(w)
	c := course{hr: make([]float64, 0, n), speed: make([]float64, 0, n), steps: make([]float64, 0, n), begin: -1}
	up, down := math.Exp(-1/p.tauOn), math.Exp(-1/p.tauOff)
	hr := 0.46*p.hrmax + 2*r.NormFloat64()
	un := unrest{r: r}
	pace := 0.0
	for _, s := range w {
		demand := (s.demand + shift/100) * p.hrmax
		hold := 0
		switch s.kind {
		case test:
			c.begin = len(c.hr)
			demand = demandFor(g.hrex, hr, up)
		case stand:
			hold = delaySeconds
			demand = restFor(g.hrr, hr, down, p.hrrest)
		case easy, jog, drill:
		}
		for i := range s.seconds {
			c.hr = append(c.hr, min(hr+un.next(), p.hrmax))
			pace += (s.speed - pace) / 2
			v := max(0, pace+un.pace(s.wander))
			if s.kind == stand && i > 4 {
				v = 0
			}
			c.speed = append(c.speed, v)
			c.steps = append(c.steps, p.stepRate(v)+1.5*r.NormFloat64())
			switch {
			case i < hold:
			case demand > hr:
				hr = demand + (hr-demand)*up
			default:
				hr = demand + (hr-demand)*down
			}
		}
	}
	return c
}

// demandFor returns the demand D for which the mean of
// HR(n) = D + (from - D) a^n over the last minute of the test is want.
func demandFor(want, from, a float64) float64 {
	m := 0.0
	for n := testSeconds - hrexSeconds; n < testSeconds; n++ {
		m += math.Pow(a, float64(n))
	}
	m /= hrexSeconds
	return (want - from*m) / (1 - m)
}

// restFor returns the level R that recovery tends to, for which
// HR(t) = R + (end - R) b^t (Barak et al. 2011) has fallen by want below the
// test's last seconds one minute after its end, and never below lowest. The
// test's last five seconds climb by less than 0.1 bpm, so that its end stands
// for their mean.
func restFor(want, end, b, lowest float64) float64 {
	k := math.Pow(b, hrrSeconds-delaySeconds)
	return max((end-want-end*k)/(1-k), lowest)
}

// stepRate is the cadence at a speed: steps a minute.
func (p *person) stepRate(v float64) float64 {
	switch {
	case v < 0.4:
		return 0
	case v < 1.7:
		return 96 + 14*v
	default:
		return p.steps + 7*(v-testSpeed)
	}
}

// unrest is the heart's own variation: a fast part that the breath makes and
// a slow one, both first-order autoregressive, SD 0.7 and 0.8 bpm; and the
// variation of the pace, with a memory of four seconds.
type unrest struct {
	r                *rand.Rand
	fast, slow, legs float64
}

func (u *unrest) next() float64 {
	const (
		fast, slow     = 0.70, 0.97
		fastSD, slowSD = 0.7, 0.8
	)
	u.fast = fast*u.fast + fastSD*math.Sqrt(1-fast*fast)*u.r.NormFloat64()
	u.slow = slow*u.slow + slowSD*math.Sqrt(1-slow*slow)*u.r.NormFloat64()
	return u.fast + u.slow
}

func (u *unrest) pace(sd float64) float64 {
	const memory = 0.78
	u.legs = memory*u.legs + math.Sqrt(1-memory*memory)*u.r.NormFloat64()
	return sd * u.legs
}

// outcomes returns the true HRex and HRR60 of a course with a test, by the
// definitions of [Truth].
func (c *course) outcomes() (hrex, hrr float64) {
	end := c.begin + testSeconds
	last := mean(c.hr[end-5 : end])
	at := end + hrrSeconds
	// Five seconds centred on 60 s: half of the seconds at either edge.
	after := (c.hr[at-3]/2 + c.hr[at-2] + c.hr[at-1] + c.hr[at] + c.hr[at+1] + c.hr[at+2]/2) / 5
	return mean(c.hr[end-hrexSeconds : end]), last - after
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}
