package judge

import (
	"math"
	"math/rand/v2"
)

// Device is what records: a strap, or an optical sensor at the arm.
type Device struct {
	Window   int     // seconds of beats that one reading is averaged over
	Delay    float64 // seconds until a reading is stored
	Optical  bool
	Speed    bool
	Cadence  bool
	GPSBias  float64 // true speed times this is what is stored
	Interval int     // seconds between samples; 0 is when something changed
}

// NewDevice draws a recorder.
func NewDevice(r *rand.Rand) Device {
	d := Device{Window: secs(r, 3, 8), Delay: between(r, 0, 1.5), Interval: 1,
		Speed: r.Float64() < 0.45, Cadence: r.Float64() < 0.35, GPSBias: between(r, 0.97, 1.03)}
	if r.Float64() < 0.2 {
		d.Window = secs(r, 9, 15)
	}
	if r.Float64() < 0.4 {
		d.Interval = []int{0, 2, 3, 4, 5, 7}[r.IntN(6)]
	}
	return d
}

// Lag is how many seconds later than the heart the device shows a change.
func (d *Device) Lag() float64 { return float64(d.Window)/2 + d.Delay }

// read turns beats into one reading a second: beats of the window, divided by
// the time they took. Before the first beats it repeats the first reading.
func (d *Device) read(bs []Beat, n int) []float64 {
	out := make([]float64, n)
	lo, hi := 0, 0
	for i := range out {
		t := float64(i) - d.Delay
		for hi < len(bs) && bs[hi].At <= t {
			hi++
		}
		for lo < hi && bs[lo].At <= t-float64(d.Window) {
			lo++
		}
		switch took := sumRR(bs[lo:hi]); {
		case took > 0:
			out[i] = 60 * float64(hi-lo) / took
		case i > 0:
			out[i] = out[i-1]
		default:
			out[i] = 60 / bs[0].RR
		}
	}
	return out
}

func sumRR(bs []Beat) float64 {
	s := 0.0
	for _, b := range bs {
		s += b.RR
	}
	return s
}

// speeds is what a satellite receiver makes of the true speed: smoothed over
// about 2 s, noisy, a little biased, 0 below walking pace.
func (d *Device) speeds(truth []float64, r *rand.Rand) []float64 {
	out := make([]float64, len(truth))
	s, n := 0.0, 0.0
	for i, v := range truth {
		s += (v - s) * 0.45
		n = 0.8*n + 0.07*r.NormFloat64()
		out[i] = max(0, s*d.GPSBias+n)
		if out[i] < 0.3 {
			out[i] = 0
		}
	}
	return out
}

// cadences are steps a minute: none standing, about 110 walking, the athlete's own running.
func (b *Body) cadences(speed []float64, r *rand.Rand) []float64 {
	out := make([]float64, len(speed))
	for i, v := range speed {
		switch {
		case v < 0.5:
		case v < 2:
			out[i] = 108 + 4*r.NormFloat64()
		default:
			out[i] = b.Steps + 5*(v-3.3) + 1.6*r.NormFloat64()
		}
		out[i] = math.Round(out[i]/2) * 2
	}
	return out
}
