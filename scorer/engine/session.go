package engine

import (
	"cmp"
	"math"
	"slices"
	"time"

	"canter.example/schemas"
)

// Placement says how the athletes of a session started.
type Placement string

// Placements of a session.
const (
	// OneStart: most traces agree on one start.
	OneStart Placement = "one start"
	// Waves: most traces agree on one of a few starts.
	Waves Placement = "waves"
	// Individual: the traces do not agree; each stands for itself.
	Individual Placement = "individual"
)

// Alignment is what the traces of one session say together.
type Alignment struct {
	Placement Placement
	// Waves are the starts that several traces share, most shared first.
	Waves []Hint
	// Hints holds for each trace, in the order given, what its team-mates say
	// of its start (its own trace left out), nil when they say nothing: put it
	// into [Request.Session] and score that trace again.
	Hints []*Hint
}

const (
	// together: starts within this many seconds of each other are one.
	together = 8.0
	// leastAgree traces besides one's own make a hint.
	leastAgree = 2
	// leastShare of the traces that show a test must keep to the shared starts.
	leastShare = 0.6
	// sharedSD is the least spread of a shared start, in seconds: heart rate's
	// delay is alike in all athletes, so many traces are not endlessly sure.
	sharedSD = 1.5
)

// sighting is one candidate start of one trace.
type sighting struct {
	trace  int
	at     float64 // seconds since the session's origin
	sd     float64
	weight float64 // probability that it is this trace's test
}

// SessionStarts aligns the traces of one session: athletes who started
// together share a start, so a poor trace can borrow its team-mates'. The
// traces and their requests correspond; requests may differ in HRmax, not in
// protocol. Device clocks are taken at their word.
//
// Each trace votes for its candidates with their probabilities; the time with
// most votes is a start, its voters leave, and so on. With 60 % or more of the
// voting traces at the first start it is one start, with 60 % at starts that
// three or more share they are waves, else each stands for itself.
func SessionStarts(traces []*schemas.Trace, requests []Request) Alignment {
	out := Alignment{Placement: Individual, Hints: make([]*Hint, len(traces))}
	if len(traces) != len(requests) || len(traces) == 0 {
		return out
	}
	origin := traces[0].Start
	seen := sightings(traces, requests, origin)
	voters := map[int]bool{}
	for _, s := range seen {
		voters[s.trace] = true
	}
	left := slices.Clone(seen)
	var waves [][]sighting
	for len(left) > 0 {
		wave := densest(left)
		if len(wave) <= leastAgree && len(waves) > 0 || len(wave) < 2 {
			break
		}
		waves = append(waves, wave)
		left = slices.DeleteFunc(left, func(s sighting) bool { return holds(wave, s.trace) })
	}
	shared := 0
	for i, w := range waves {
		shared += len(w)
		share := float64(shared) / float64(len(voters))
		if i == 0 && share >= leastShare && len(w) > leastAgree {
			out.Placement = OneStart
			waves = waves[:1]
			break
		}
		if share >= leastShare && len(w) > leastAgree {
			out.Placement = Waves
			waves = waves[:i+1]
			break
		}
	}
	if out.Placement == Individual {
		return out
	}
	for _, w := range waves {
		if h := agreed(w, -1, origin); h != nil {
			out.Waves = append(out.Waves, *h)
		}
	}
	for i := range traces {
		out.Hints[i] = hintFor(i, waves, origin)
	}
	return out
}

// hintFor is the start of the wave that a trace belongs to, by its team-mates
// alone. A trace that belongs to none gets the only wave there is.
func hintFor(trace int, waves [][]sighting, origin time.Time) *Hint {
	for _, w := range waves {
		if holds(w, trace) {
			return agreed(w, trace, origin)
		}
	}
	if len(waves) == 1 {
		return agreed(waves[0], trace, origin)
	}
	return nil
}

func holds(wave []sighting, trace int) bool {
	return slices.ContainsFunc(wave, func(s sighting) bool { return s.trace == trace })
}

// sightings scores each trace by itself, without what it may have been told of
// the session, and keeps its likely starts.
func sightings(traces []*schemas.Trace, requests []Request, origin time.Time) []sighting {
	var out []sighting
	for i, tr := range traces {
		req := requests[i]
		req.Session, req.Explain = nil, false
		for _, c := range lookFor(tr, req) {
			if c.weight >= 0.2 {
				c.trace = i
				c.at += tr.Start.Sub(origin).Seconds()
				out = append(out, c)
			}
		}
	}
	slices.SortFunc(out, func(a, b sighting) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.trace, b.trace))
	})
	return out
}

// densest returns the sightings around the time with most votes, the likeliest
// one of each trace.
func densest(sorted []sighting) []sighting {
	var best, wave []sighting
	most := 0.0
	for i := range sorted {
		byTrace := map[int]sighting{}
		for j := i; j < len(sorted) && sorted[j].at-sorted[i].at <= together; j++ {
			if s := sorted[j]; s.weight > byTrace[s.trace].weight {
				byTrace[s.trace] = s
			}
		}
		wave = wave[:0]
		for _, s := range byTrace {
			wave = append(wave, s)
		}
		// A map has no order, and sums depend on theirs.
		slices.SortFunc(wave, func(a, b sighting) int { return cmp.Compare(a.trace, b.trace) })
		votes := 0.0
		for _, s := range wave {
			votes += s.weight
		}
		if votes > most+1e-9 {
			most = votes
			best = append(best[:0], wave...)
		}
	}
	return best
}

// agreed is the weighted mean start of a wave with one trace left out, nil when
// too few remain.
func agreed(wave []sighting, without int, origin time.Time) *Hint {
	var sum, weights float64
	n := 0
	for _, s := range wave {
		if s.trace == without {
			continue
		}
		w := s.weight / (s.sd*s.sd + 1)
		sum += w * s.at
		weights += w
		n++
	}
	if n < leastAgree || weights <= 0 {
		return nil
	}
	sd := math.Sqrt(1/weights + sharedSD*sharedSD)
	return &Hint{Start: origin.Add(seconds(math.Round(sum / weights))), SD: seconds(sd), Traces: n}
}

// lookFor returns the candidate starts of one trace in its own seconds.
func lookFor(tr *schemas.Trace, req Request) (out []sighting) {
	defer func() {
		if recover() != nil {
			out = nil // Score will say what is wrong with it
		}
	}()
	p, err := withDefaults(req.Protocol)
	if err != nil {
		return nil
	}
	req.Protocol = p
	r := Open(tr)
	defer r.Close()
	r.clean(req.HRmax)
	h, ok := r.ready(tr, &req)
	if !ok {
		return nil
	}
	for _, c := range r.finder.find(&h) {
		if c.score() >= leastEvidence && (c.seesOn() || c.seesOff()) {
			out = append(out, sighting{at: r.finder.grid.time(c.start), sd: c.sd, weight: c.confidence()})
		}
	}
	return out
}
