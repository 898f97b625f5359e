package engine

import (
	"math"
	"slices"
	"time"

	"canter.example/schemas"
)

// drop is why a sample's heart rate does not count; kept is the zero value.
type drop uint8

const (
	kept drop = iota
	noReading
	outOfRange
	aboveMax
	spike
	noisy
	slipped
	stuck
	halved
	doubled
	onCadence
	disagrees
	drops // their number
)

// dropWords are what [schemas.TraceSecond] shows.
var dropWords = [drops]string{
	kept: "", noReading: "no reading", outOfRange: "outside 30 to 230 bpm",
	aboveMax: "far above HRmax", spike: "spike", noisy: "noise", slipped: "strap slip",
	stuck: "stuck value", halved: "half rate", doubled: "double rate",
	onCadence: "cadence lock", disagrees: "duplicate times disagree",
}

// Limits of cleaning; where no source is named they are choices of this package.
const (
	// lowestHR and highestHR, in bpm, are recalled from the literature (FACTS
	// 4.5, MEMORY).
	lowestHR  = 30
	highestHR = 230
	// aboveMeasured is how far over a measured HRmax a reading may be: field
	// maxima were 13 bpm over laboratory ones on average (Semin et al. 2008;
	// FACTS 4.2). Estimates get three standard errors.
	aboveMeasured = 20
	// longestTrace (s) bounds memory: of a longer trace only a day about its
	// median sample is taken, the other times are broken.
	longestTrace = 24 * 3600
	// longestHold: a sample stands for at most this many seconds, whatever
	// the sampling (smart recording leaves up to 7 s between samples, some
	// devices more while nothing changes).
	longestHold = 10
	// bridged gaps are shown as a line; they never count as covered.
	bridged = 10
)

// step is a sudden change of level that was not undone: nobody can say which
// side of it is right.
type step struct {
	at   float64 // seconds since the trace's start
	size float64 // bpm
}

// series is a trace in time order, times in seconds since the trace's start.
type series struct {
	at    []float64
	hr    []float64
	speed []float32
	cad   []float32
	have  []schemas.Channels
	why   []drop
	// hold is how many seconds a sample stands for: to the next sample of any
	// kind, at most limit.
	hold  []float64
	limit float64
	// typical interval between samples, seconds.
	interval float64
	// wiggle is the typical size (bpm, as a standard deviation) of the change
	// from one sample to the next.
	wiggle   float64
	steps    []step
	still    []stillRun     // see dropStuck
	segs     []segment      // see segments
	sums     [][4]float64   // see dropFollowing
	after    decayReadings  // see recoveryTau
	marked   int            // samples dropped as detached from the rest
	fromRR   bool           // heart rate was derived from beat intervals
	damage   schemas.Damage // of the file, see damage.go
	clock    string         // what the reader had to decide about the clock
	speeds   int            // samples with speed
	cadences int
}

// clean puts the samples in time order and marks those whose heart rate does
// not count. The order of the samples in the trace does not matter.
func clean(s *series, tr *schemas.Trace, hrmax schemas.HRmax) {
	s.take(tr)
	s.damage, s.clock = tr.Damage, tr.Clock
	if len(s.at) == 0 {
		return
	}
	s.setHolds()
	s.dropRange(hrmax)
	s.measureWiggle()
	s.dropStuck()
	s.dropCadence()
	s.dropDetached()
	s.dropNoise()
}

// take copies the samples in time order. Samples of the same instant become
// their mean; when they differ by more than 10 bpm none of them counts.
func (s *series) take(tr *schemas.Trace) {
	samples := tr.Samples
	rr := samplesFromRR(tr)
	if rr != nil {
		samples = rr
	}
	for i := 1; i < len(samples); i++ {
		if samples[i].At < samples[i-1].At {
			samples = slices.Clone(samples)
			slices.SortFunc(samples, bySample)
			break
		}
	}
	first, last := plausibleSpan(samples)
	s.resize(len(samples))
	s.fromRR = rr != nil
	n := 0
	for i := 0; i < len(samples); {
		j := i + 1
		for j < len(samples) && samples[j].At == samples[i].At {
			j++
		}
		if at := samples[i].At; at >= first && at <= last {
			s.at[n] = float64(at) / 1e9
			if j == i+1 {
				s.put(n, &samples[i])
			} else {
				s.putMean(n, samples[i:j])
			}
			n++
		}
		i = j
	}
	s.truncate(n)
}

// bySample orders samples by time, then by what they hold, so that sorting
// gives one result whatever the order was.
func bySample(a, b schemas.Sample) int {
	switch {
	case a.At != b.At:
		if a.At < b.At {
			return -1
		}
		return 1
	case a.HR < b.HR:
		return -1
	case a.HR > b.HR:
		return 1
	case a.Speed < b.Speed:
		return -1
	case a.Speed > b.Speed:
		return 1
	}
	return 0
}

// plausibleSpan returns the first and last time that belong to the trace:
// within a day around its median sample.
func plausibleSpan(sorted []schemas.Sample) (first, last time.Duration) {
	if len(sorted) == 0 {
		return 0, 0
	}
	const day = longestTrace * time.Second
	first, last = sorted[0].At, sorted[len(sorted)-1].At
	// Compared as seconds: the difference of two wild durations overflows.
	if last.Seconds()-first.Seconds() <= longestTrace {
		return first, last
	}
	middle := sorted[len(sorted)/2].At
	if lo := middle.Seconds() - longestTrace/2; lo > first.Seconds() {
		first = middle - day/2
	}
	if hi := middle.Seconds() + longestTrace/2; hi < last.Seconds() {
		last = middle + day/2
	}
	return first, last
}

// put makes sample i. Speeds and step rates that no runner has do not count.
func (s *series) put(i int, m *schemas.Sample) {
	s.hr[i], s.why[i] = float64(m.HR), kept
	s.speed[i], s.cad[i], s.have[i] = m.Speed, m.Cadence, usable(m)
	if s.have[i]&schemas.HasSpeed != 0 {
		s.speeds++
	}
	if s.have[i]&schemas.HasCadence != 0 {
		s.cadences++
	}
}

// usable are the channels of a sample that hold what a runner may have: below
// 15 m/s, and below 400 steps a minute.
func usable(m *schemas.Sample) schemas.Channels {
	have := m.Have
	if !(m.Speed >= 0 && m.Speed < 15) { // NaN is not, either
		have &^= schemas.HasSpeed
	}
	if !(m.Cadence >= 0 && m.Cadence < 400) {
		have &^= schemas.HasCadence
	}
	return have
}

// putMean makes sample i of several of one instant: the mean of each channel over
// those that have it.
func (s *series) putMean(i int, same []schemas.Sample) {
	low, high, sum, n := math.Inf(1), math.Inf(-1), 0.0, 0
	var speed, speeds, cad, cads float32
	m := same[0]
	for k := range same {
		if v := float64(same[k].HR); v >= lowestHR && v <= highestHR {
			low, high, sum, n = min(low, v), max(high, v), sum+v, n+1
		}
		have := usable(&same[k])
		if have&schemas.HasSpeed != 0 {
			speed, speeds = speed+same[k].Speed, speeds+1
		}
		if have&schemas.HasCadence != 0 {
			cad, cads = cad+same[k].Cadence, cads+1
		}
		m.Have |= have
	}
	if speeds > 0 {
		m.Speed = speed / speeds
	}
	if cads > 0 {
		m.Cadence = cad / cads
	}
	s.put(i, &m)
	switch {
	case n == 0:
	case high-low > 10:
		s.hr[i], s.why[i] = sum/float64(n), disagrees
	default:
		s.hr[i] = sum / float64(n)
	}
}

// setHolds decides how long a sample stands for: to the next one, as long as
// that comes in the trace's own rhythm. In a regular trace (four intervals in
// five within a quarter of the median) that is the median interval, and a
// quarter more where one in ten takes it, so a missing record is a missing
// second. In an irregular one (smart recording) it is the interval that 98 in
// 100 keep to. Never under 1 s, never over 10 s.
func (s *series) setHolds() {
	var counts [10*longestHold + 1]int // tenths of a second
	n := 0
	last, bin := -1.0, 0 // most intervals are like the one before
	for i := 1; i < len(s.at); i++ {
		d := s.at[i] - s.at[i-1]
		if d != last {
			last, bin = d, len(counts)
			if d < longestHold+0.05 {
				bin = int(d*10 + 0.5)
			}
		}
		if bin < len(counts) {
			counts[bin]++ //nolint:gosec // bin comes of an interval, which is not negative in a sorted trace
			n++
		}
	}
	quantile := func(share float64) float64 {
		need, sum := share*float64(n), 0
		for k, c := range counts {
			sum += c
			if c > 0 && float64(sum) >= need {
				return float64(k) / 10
			}
		}
		return longestHold
	}
	s.interval, s.limit = 1, 1
	if n > 0 {
		s.interval = quantile(0.5)
		near := 0
		for k, c := range counts {
			if math.Abs(float64(k)/10-s.interval) <= max(0.25*s.interval, 0.3) {
				near += c
			}
		}
		s.limit = min(max(quantile(0.9), s.interval), 1.25*s.interval)
		if near*5 < n*4 {
			s.limit = max(quantile(0.98), s.interval)
		}
		s.interval = max(s.interval, 0.1)
		s.limit = min(max(s.limit, 1), longestHold)
	}
	end := len(s.at) - 1
	for i := range end {
		s.hold[i] = min(s.at[i+1]-s.at[i], s.limit)
	}
	s.hold[end] = min(s.limit, s.interval)
}

func (s *series) dropRange(hrmax schemas.HRmax) {
	top := math.Inf(1)
	if m, ok := hrmax.BPM.Get(); ok && m >= 100 {
		switch hrmax.Source {
		case schemas.HRmaxMeasured:
			top = m + aboveMeasured
		case schemas.HRmaxEstimated:
			top = m + 3*hrmax.SEE.Or(10.8)
		case schemas.HRmaxUnknown:
		}
	}
	for i, v := range s.hr {
		switch {
		case v >= lowestHR && v <= highestHR && v <= top: // NaN fails all three
		case v == 0:
			s.why[i] = noReading
		case v > top && v <= highestHR:
			s.why[i] = aboveMax
		default:
			s.why[i] = outOfRange
		}
	}
}

// measureWiggle estimates the size of sample-to-sample changes that are noise,
// from the mean absolute second difference, large ones left out (normal noise:
// SD = 1.25 × mean). Second differences do not see the slopes of heart rate
// itself; they are 1.4 to 1.7 times as large as first ones, with the
// correlation of the noise from 0.9 to 0.
func (s *series) measureWiggle() {
	sum, n, run := 0.0, 0, 0
	for i, v := range s.hr {
		if s.why[i] != kept {
			run = 0
			continue
		}
		if run++; run < 3 {
			continue
		}
		if d := math.Abs(v - 2*s.hr[i-1] + s.hr[i-2]); d <= 18 {
			sum += d
			n++
		}
	}
	s.wiggle = 0.5
	if n > 0 {
		s.wiggle = max(0.3, 1.25/1.6*sum/float64(n))
	}
}

// valid counts the samples whose heart rate counts.
func (s *series) valid() int {
	n := 0
	for _, d := range s.why {
		if d == kept {
			n++
		}
	}
	return n
}

func (s *series) resize(n int) {
	s.at, s.hr, s.hold = grow(s.at, n), grow(s.hr, n), grow(s.hold, n)
	s.speed, s.cad = grow(s.speed, n), grow(s.cad, n)
	s.have, s.why = grow(s.have, n), grow(s.why, n)
	s.steps = s.steps[:0]
	s.interval, s.limit, s.wiggle = 0, 0, 0
	s.marked, s.speeds, s.cadences, s.fromRR = 0, 0, 0, false
}

func (s *series) truncate(n int) {
	s.at, s.hr, s.hold = s.at[:n], s.hr[:n], s.hold[:n]
	s.speed, s.cad = s.speed[:n], s.cad[:n]
	s.have, s.why = s.have[:n], s.why[:n]
}

// grow returns a slice of length n, reusing s where it is large enough. Its
// elements are to be overwritten.
func grow[T any](s []T, n int) []T {
	if cap(s) >= n {
		return s[:n]
	}
	return make([]T, n, n+n/4)
}
