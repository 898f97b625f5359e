package judge

import (
	"math"
	"math/rand/v2"
	"time"
)

// Sample is one stored record.
type Sample struct {
	At         time.Time
	HR         int // bpm; -1 is no reading, 0 a stored zero
	Speed      float64
	HasSpeed   bool
	Cadence    int // steps a minute
	HasCadence bool
}

// Lap is a stored lap.
type Lap struct {
	Start, End time.Time
	Manual     bool
}

// Recording is what ends in the file.
type Recording struct {
	Samples []Sample
	Laps    []Lap
	Beats   []Beat    // stored beside the samples when not empty, FIT only
	Begin   time.Time // of the clock of Beats
}

// stream is what the device holds, a reading a second, before it stores any.
type stream struct {
	hr             []float64 // NaN no reading
	speed, cadence []float64
}

// store picks the seconds that are written.
func (d *Device) store(s *stream, begin time.Time, r *rand.Rand) []Sample {
	var out []Sample
	last, kept := math.NaN(), -100
	for i, v := range s.hr {
		hr := -1
		if !math.IsNaN(v) {
			hr = int(clamp(math.Round(v), 0, 250))
		}
		switch {
		case d.Interval > 0 && i%d.Interval != 0:
			continue
		case d.Interval == 0 && float64(hr) == last && i-kept < secs(r, 4, 7):
			continue
		}
		last, kept = float64(hr), i
		out = append(out, Sample{At: begin.Add(time.Duration(i) * time.Second), HR: hr,
			Speed: math.Round(s.speed[i]*1000) / 1000, HasSpeed: d.Speed,
			Cadence: int(s.cadence[i]), HasCadence: d.Cadence})
	}
	return out
}
