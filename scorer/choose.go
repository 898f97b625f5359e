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
func planned(found []engine.Found, p *schemas.Protocol) []engine.Found {
	ranked := slices.Clone(found)
	slices.SortStableFunc(ranked, func(a, b engine.Found) int {
		return cmp.Or(
			falseFirst(!byHand(&a.Outcome), !byHand(&b.Outcome)),
			falseFirst(unlike(&a.Outcome, p), unlike(&b.Outcome, p)),
			better(a, b))
	})
	var kept []engine.Found
	for i, f := range ranked {
		if i == 0 || f.Outcome.Quality == schemas.Good || byHand(&f.Outcome) {
			kept = append(kept, f)
		}
	}
	return kept
}

// notTheTest reports whether an effort is another run altogether: its speed is
// not the protocol's and its heart rate far below the band. Each alone may be a
// test run badly or an athlete who is fitter than the protocol.
func notTheTest(o *schemas.Outcome, p *schemas.Protocol) bool {
	return !byHand(o) && isFarBelow(o, p) && hasReason(o, schemas.ReasonLoadNotKept)
}

func hasReason(o *schemas.Outcome, code schemas.ReasonCode) bool {
	return slices.ContainsFunc(o.Reasons, func(r schemas.Reason) bool { return r.Code == code })
}

// unplanned keeps, of the efforts in a trace that no planned test falls into,
// those that look like the test in every way but perhaps the trace's quality.
// A jog before training or a run cut short is training, not a failed test; the
// remark says so.
func (s *Service) unplanned(found []engine.Found, p *schemas.Protocol, remark string) ([]engine.Found, string) {
	var kept []engine.Found
	for _, f := range found {
		o := &f.Outcome
		if byHand(o) || o.Quality != schemas.Reject && !unlike(o, p) {
			kept = append(kept, f)
			continue
		}
		remark = s.whyNot(o)
	}
	return kept, remark
}

// whyNot says why an effort is not the test.
func (s *Service) whyNot(o *schemas.Outcome) string {
	return fmt.Sprintf("an effort at %s is not the test %s: %s", o.Start.In(s.club.Zone).Format(time.TimeOnly), o.Protocol, reasonTexts(o))
}

// farBelow is how many points of %HRmax below the protocol's intensity band an
// effort is no longer the test run by a fitter athlete but a lighter run. Our
// choice: six typical errors (1.2 points, Scott et al. 2018; FACTS 2.1). There
// is no such bound above the band: a risen heart rate is what canter is for.
const farBelow = 7.5

// unlike reports whether an effort's load or length is not the protocol's.
func unlike(o *schemas.Outcome, p *schemas.Protocol) bool {
	return isFarBelow(o, p) || hasReason(o, schemas.ReasonLoadNotKept) || hasReason(o, schemas.ReasonCutShort) || hasReason(o, schemas.ReasonNotSteady)
}

func isFarBelow(o *schemas.Outcome, p *schemas.Protocol) bool {
	pct, ok := o.HRexPct.Get()
	return ok && pct < 100*p.BandLow-farBelow
}

func reasonTexts(o *schemas.Outcome) string {
	texts := make([]string, len(o.Reasons))
	for i, r := range o.Reasons {
		texts[i] = r.Text
	}
	return strings.Join(texts, "; ")
}

func byHand(o *schemas.Outcome) bool { return o.StartSource == schemas.StartByHand }

// better orders efforts: set by hand, of better quality, of a surer start.
func better(a, b engine.Found) int {
	rank := map[schemas.Quality]int{schemas.Good: 0, schemas.Check: 1, schemas.Reject: 2}
	return cmp.Or(
		falseFirst(!byHand(&a.Outcome), !byHand(&b.Outcome)),
		cmp.Compare(rank[a.Outcome.Quality], rank[b.Outcome.Quality]),
		-cmp.Compare(a.Outcome.StartConfidence, b.Outcome.StartConfidence),
		-cmp.Compare(a.Outcome.Duration, b.Outcome.Duration),
		a.Outcome.Start.Compare(b.Outcome.Start))
}

func falseFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
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
