package engine

import (
	"slices"
	"time"

	"canter.example/schemas"
)

// MatesStarts returns the starts that the scored tests of one session share,
// most shared first: what [SessionStarts] finds in traces, for a session whose
// traces come one by one. Tests that are not good, or whose start was itself
// borrowed, say nothing. Give it the tests of the other athletes only.
func MatesStarts(tests []schemas.Outcome) []Hint {
	var seen []sighting
	var origin time.Time
	for i := range tests {
		o := &tests[i]
		if o.Quality != schemas.Good || o.StartSource == schemas.StartBySession || o.Staff == schemas.Excluded {
			continue
		}
		if origin.IsZero() {
			origin = o.Start
		}
		seen = append(seen, sighting{trace: i, at: o.Start.Sub(origin).Seconds(), sd: sharedSD, weight: o.StartConfidence})
	}
	slices.SortFunc(seen, func(a, b sighting) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		}
		return a.trace - b.trace
	})
	voters, shared := len(seen), 0
	var out []Hint
	for len(seen) > 0 {
		wave := densest(seen)
		if len(wave) <= leastAgree {
			break
		}
		shared += len(wave)
		if h := agreed(wave, -1, origin); h != nil {
			out = append(out, *h)
		}
		seen = slices.DeleteFunc(seen, func(s sighting) bool { return holds(wave, s.trace) })
	}
	if float64(shared) < leastShare*float64(voters) {
		return nil
	}
	return out
}
