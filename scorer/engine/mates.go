package engine

import (
	"cmp"
	"math"
	"slices"
	"time"

	"canter.example/schemas"
)

const (
	// together: starts within this many seconds of each other are one.
	together = 8.0
	// leastAgree tests of team-mates make a hint.
	leastAgree = 2
	// leastShare of a session's good tests must keep to the shared starts.
	leastShare = 0.6
	// sharedSD is the least spread of a shared start, in seconds: heart rate's
	// delay is alike in all athletes, so many traces are not endlessly sure.
	sharedSD = 1.5
)

// sighting is the start of one test.
type sighting struct {
	test   int
	at     float64 // seconds since the session's origin
	weight float64 // probability that it is the true one
}

// MatesStarts returns the starts that the scored tests of one session share,
// most shared first, for a trace that shows none of its own: athletes who started
// together share a start. Give it the tests of the other athletes only; put one of
// the hints into [Request.Session] and score that trace again. Tests that are not
// good, or whose start was itself borrowed, say nothing. Device clocks are taken at
// their word.
//
// Each test votes for its start with its confidence; the time with most votes is
// a start, its voters leave, and so on: one start, or waves. When fewer than 60 %
// of the tests keep to starts that three or more share, each athlete started
// alone and nothing is returned.
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
		seen = append(seen, sighting{test: i, at: o.Start.Sub(origin).Seconds(), weight: o.StartConfidence})
	}
	slices.SortFunc(seen, func(a, b sighting) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.test, b.test))
	})
	voters, shared := len(seen), 0
	var out []Hint
	for len(seen) > 0 {
		from, to := densest(seen)
		wave := seen[from:to]
		if len(wave) <= leastAgree {
			break
		}
		shared += len(wave)
		out = append(out, agreed(wave, origin))
		seen = slices.Delete(seen, from, to)
	}
	if float64(shared) < leastShare*float64(voters) {
		return nil
	}
	return out
}

// densest returns from where to where the sightings lie that are together and
// have most votes.
func densest(sorted []sighting) (from, to int) {
	most := 0.0
	for i := range sorted {
		votes, j := 0.0, i
		for ; j < len(sorted) && sorted[j].at-sorted[i].at <= together; j++ {
			votes += sorted[j].weight
		}
		if votes > most+1e-9 {
			most, from, to = votes, i, j
		}
	}
	return from, to
}

// agreed is the weighted mean start of a wave.
func agreed(wave []sighting, origin time.Time) Hint {
	var sum, weights float64
	for _, s := range wave {
		w := s.weight / (sharedSD*sharedSD + 1)
		sum += w * s.at
		weights += w
	}
	sd := math.Sqrt(1/weights + sharedSD*sharedSD)
	return Hint{Start: origin.Add(seconds(math.Round(sum / weights))), SD: seconds(sd), Traces: len(wave)}
}
