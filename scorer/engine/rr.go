package engine

import (
	"time"

	"canter.example/schemas"
)

// Limits of beat-to-beat intervals (FACTS 4.5, MEMORY), and how far one may be
// from the local mean to count (Machado et al. 2000; Karlsson et al. 2012; FACTS
// 4.3). The rule leaves out early beats and their pauses, missed and doubled
// beats alike; which of them it was, it does not say.
const (
	shortestRR = 300 * time.Millisecond
	longestRR  = 2000 * time.Millisecond
	nearMeanRR = 0.20
)

// samplesFromRR makes one sample a second out of the trace's RR intervals, or
// nil when the trace's own samples have heart rates (or there are no RR).
//
// The heart rate of a second is 60 / mean interval of the beats that closed in it;
// a second whose beats were all refused has none, and is dropped as one without a
// reading. Speed and cadence are those of the trace's first sample in the second.
func samplesFromRR(tr *schemas.Trace) []schemas.Sample {
	if len(tr.RR) < 10 {
		return nil
	}
	for i := range tr.Samples {
		if tr.Samples[i].HR > 0 {
			return nil
		}
	}
	seconds := beatsBySecond(tr.RR)
	out := make([]schemas.Sample, 0, len(seconds)+len(tr.Samples))
	given := make(map[int64]bool, len(seconds))
	for i := range tr.Samples {
		k := int64(tr.Samples[i].At / time.Second)
		m := tr.Samples[i]
		if given[k] {
			continue // speed came more often than once a second
		}
		if b, ok := seconds[k]; ok {
			if b.n > 0 {
				m.HR = b.rate()
			}
			delete(seconds, k)
			given[k] = true
		}
		out = append(out, m)
	}
	for k, b := range seconds {
		out = append(out, schemas.Sample{At: time.Duration(k) * time.Second, HR: b.rate()})
	}
	return out
}

// beats are those that counted in one second: the sum of their intervals, in
// seconds, and their number.
type beats struct{ sum, n float64 }

// rate is their heart rate in bpm, 0 for none.
func (b beats) rate() float32 {
	if b.n == 0 {
		return 0
	}
	return float32(60 * b.n / b.sum)
}

// beatsBySecond gathers the intervals by the second in which they close. One
// counts when it is within 300 to 2000 ms and within 20 % of the mean of the last
// five that counted.
func beatsBySecond(rr []schemas.RR) map[int64]beats {
	seconds := make(map[int64]beats, len(rr))
	var recent [5]float64
	filled, refused := 0, 0
	for _, b := range rr {
		k := int64(b.At / time.Second)
		v := b.Interval.Seconds()
		ok := b.Interval >= shortestRR && b.Interval <= longestRR
		if ok && filled > 0 {
			local := 0.0
			m := min(filled, len(recent))
			for _, r := range recent[:m] {
				local += r / float64(m)
			}
			ok = v >= local*(1-nearMeanRR) && v <= local*(1+nearMeanRR)
		}
		s := seconds[k]
		if ok {
			s.sum, s.n = s.sum+v, s.n+1
			recent[filled%len(recent)] = v
			filled++
			refused = 0
		} else if refused++; refused >= 5 {
			// Five in a row refused: the reference itself is wrong.
			filled, refused = 0, 0
		}
		seconds[k] = s
	}
	return seconds
}
