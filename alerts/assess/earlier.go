package assess

import (
	"cmp"
	"slices"
	"time"

	"canter.example/schemas"
)

// SameTest is how close the starts of two tests of one athlete and protocol
// are when they are two files of one run (a watch and a strap, a file
// exported twice). A submaximal test lasts 3 to 4 min, so two runs can't
// start within 5.
const SameTest = 5 * time.Minute

// Earlier returns the tests that o may be compared with, oldest first: same
// athlete, protocol and protocol version, valid, started before o and not the
// same run as o, each run once. The order of others does not matter; it may
// hold o itself, older versions of the same test, and anybody's tests.
func Earlier(o schemas.Outcome, others []schemas.Outcome) []schemas.Outcome {
	return copies(earlier(&o, others))
}

func earlier(o *schemas.Outcome, others []schemas.Outcome) []*schemas.Outcome {
	return distinct(latest(others, func(t *schemas.Outcome) bool {
		return sameKind(o, t) && t.TestID != o.TestID && t.Valid() && o.Start.Sub(t.Start) > SameTest
	}))
}

// Runs returns the runs of o's athlete by the same protocol version before o,
// oldest first, whatever their quality: only tests that staff left out are
// missing. Each run is told by the best of its files.
func Runs(o schemas.Outcome, others []schemas.Outcome) []schemas.Outcome {
	return copies(distinct(latest(others, func(t *schemas.Outcome) bool {
		return sameKind(&o, t) && t.TestID != o.TestID && t.Staff != schemas.Excluded && o.Start.Sub(t.Start) > SameTest
	})))
}

// BetterFile returns the test among others that is the same run as o but
// stands for it instead, and whether there is one. Staff hear of a run once.
func BetterFile(o schemas.Outcome, others []schemas.Outcome) (schemas.Outcome, bool) {
	best := &o
	for _, t := range latest(others, func(t *schemas.Outcome) bool {
		return sameKind(&o, t) && t.TestID != o.TestID && t.Staff != schemas.Excluded && o.Start.Sub(t.Start).Abs() <= SameTest
	}) {
		if prefer(t, best) < 0 {
			best = t
		}
	}
	return *best, best != &o
}

func copies(tests []*schemas.Outcome) []schemas.Outcome {
	if len(tests) == 0 {
		return nil
	}
	out := make([]schemas.Outcome, len(tests))
	for i, t := range tests {
		out[i] = *t
	}
	return out
}

// sameKind reports whether two tests measure the same thing. Protocol
// versions differ when load, averaging or recovery differ.
func sameKind(a, b *schemas.Outcome) bool {
	return a.Athlete == b.Athlete && a.Protocol == b.Protocol && a.ProtocolVersion == b.ProtocolVersion
}

// latest returns pointers to the newest version of each test that passes keep.
func latest(tests []schemas.Outcome, keep func(*schemas.Outcome) bool) []*schemas.Outcome {
	n := 0
	for i := range tests {
		if keep(&tests[i]) {
			n++
		}
	}
	switch {
	case n == 0:
		return nil
	case n <= few:
		return latestFew(tests, keep)
	}
	at := make(map[schemas.TestID]int, len(tests))
	newest := make([]*schemas.Outcome, 0, len(tests))
	for i := range tests {
		t := &tests[i]
		j, seen := at[t.TestID]
		switch {
		case !seen:
			at[t.TestID] = len(newest)
			newest = append(newest, t)
		case t.Version > newest[j].Version:
			newest[j] = t
		}
	}
	return slices.DeleteFunc(newest, func(t *schemas.Outcome) bool { return !keep(t) })
}

// few tests are looked for faster one by one.
const few = 3

// latestFew is latest where few versions pass keep: each is one of the result
// unless a newer one of its test is there, or as new a one before it.
func latestFew(tests []schemas.Outcome, keep func(*schemas.Outcome) bool) []*schemas.Outcome {
	var newest []*schemas.Outcome
	for i := range tests {
		t := &tests[i]
		if !keep(t) {
			continue
		}
		outdone := false
		for j := range tests {
			if o := &tests[j]; o.TestID == t.TestID && (o.Version > t.Version || o.Version == t.Version && j < i) {
				outdone = true
				break
			}
		}
		if !outdone {
			newest = append(newest, t)
		}
	}
	return newest
}

// distinct keeps one test of each run, oldest first. A run is every test
// whose start is within [SameTest] of the run's first.
func distinct(tests []*schemas.Outcome) []*schemas.Outcome {
	slices.SortFunc(tests, func(a, b *schemas.Outcome) int {
		return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.FileID, b.FileID), cmp.Compare(a.TestID, b.TestID))
	})
	var out []*schemas.Outcome
	var first time.Time
	for _, t := range tests {
		if len(out) == 0 || t.Start.Sub(first) > SameTest {
			out, first = append(out, t), t.Start
			continue
		}
		if last := len(out) - 1; prefer(t, out[last]) < 0 {
			out[last] = t
		}
	}
	return out
}

// prefer is negative when a stands for the run rather than b: valid, then
// good over check over reject, then higher coverage, then lower file id.
func prefer(a, b *schemas.Outcome) int {
	return cmp.Or(
		cmp.Compare(rank(a), rank(b)),
		cmp.Compare(b.Coverage, a.Coverage),
		cmp.Compare(a.FileID, b.FileID),
		cmp.Compare(a.TestID, b.TestID),
	)
}

func rank(o *schemas.Outcome) int {
	r := 0
	switch o.Quality {
	case schemas.Good:
	case schemas.Check:
		r = 1
	case schemas.Reject:
		r = 2
	}
	if !o.Valid() {
		r += 3
	}
	return r
}
