package scorer

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/scorer/engine"
)

// The engine reports every effort that resembles the protocol. Which of them
// is a test depends on what the club planned, and that is decided here.

// planned keeps, of the efforts near one planned test, those that are good, or
// else the one that is most likely the test: it was run, and a doubtful trace
// is staff's to judge.
func planned(found []engine.Found) []engine.Found {
	ranked := slices.Clone(found)
	slices.SortStableFunc(ranked, better)
	var kept []engine.Found
	for i, f := range ranked {
		if i == 0 || f.Outcome.Quality == schemas.Good || byHand(&f.Outcome) {
			kept = append(kept, f)
		}
	}
	return kept
}

// unplanned keeps, of the efforts in a trace that no planned test falls into,
// those that look like the test in every way but perhaps the trace's quality.
// A jog before training or a run cut short is training, not a failed test; the
// remark says so.
func (s *Service) unplanned(found []engine.Found, remark string) ([]engine.Found, string) {
	var kept []engine.Found
	for _, f := range found {
		o := &f.Outcome
		if byHand(o) || o.Quality == schemas.Good || o.Quality == schemas.Check && !unlike(o) {
			kept = append(kept, f)
			continue
		}
		remark = fmt.Sprintf("an effort at %s is not the test %s: %s", o.Start.In(s.club.Zone).Format(time.TimeOnly), o.Protocol, reasonTexts(o))
	}
	return kept, remark
}

// unlike reports whether an effort's load or length is not the protocol's.
func unlike(o *schemas.Outcome) bool {
	return slices.ContainsFunc(o.Reasons, func(r schemas.Reason) bool {
		switch r.Code {
		case schemas.ReasonLoadNotKept, schemas.ReasonCutShort, schemas.ReasonOutsideBand, schemas.ReasonNotSteady:
			return true
		default:
			return false
		}
	})
}

func reasonTexts(o *schemas.Outcome) string {
	texts := make([]string, len(o.Reasons))
	for i, r := range o.Reasons {
		texts[i] = r.Text
	}
	return strings.Join(texts, "; ")
}

func byHand(o *schemas.Outcome) bool { return o.StartSource == schemas.StartByHand }

// better orders efforts, the most likely test first: set by hand, like the
// protocol in load and length, of better quality, of a surer start.
func better(a, b engine.Found) int {
	rank := map[schemas.Quality]int{schemas.Good: 0, schemas.Check: 1, schemas.Reject: 2}
	falseFirst := func(a, b bool) int {
		switch {
		case a == b:
			return 0
		case b:
			return -1
		}
		return 1
	}
	return cmp.Or(
		falseFirst(!byHand(&a.Outcome), !byHand(&b.Outcome)),
		falseFirst(unlike(&a.Outcome), unlike(&b.Outcome)),
		cmp.Compare(rank[a.Outcome.Quality], rank[b.Outcome.Quality]),
		-cmp.Compare(a.Outcome.StartConfidence, b.Outcome.StartConfidence),
		-cmp.Compare(a.Outcome.Duration, b.Outcome.Duration),
		a.Outcome.Start.Compare(b.Outcome.Start))
}

// withoutOverlaps keeps the best of tests that share time, as when a trace
// fits two protocols: one run is one test. In order of time.
func withoutOverlaps(found []engine.Found) []engine.Found {
	slices.SortStableFunc(found, better)
	var kept []engine.Found
	for _, f := range found {
		overlaps := slices.ContainsFunc(kept, func(k engine.Found) bool {
			return f.Outcome.Start.Before(k.Outcome.Start.Add(k.Outcome.Duration)) &&
				k.Outcome.Start.Before(f.Outcome.Start.Add(f.Outcome.Duration))
		})
		if !overlaps {
			kept = append(kept, f)
		}
	}
	slices.SortFunc(kept, func(a, b engine.Found) int { return a.Outcome.Start.Compare(b.Outcome.Start) })
	return kept
}
