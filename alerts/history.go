package alerts

import (
	"context"
	"maps"
	"slices"
	"time"

	"canter.example/alerts/review"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

// Tests reads the tests that stand.
type Tests interface {
	Tests(ctx context.Context, f history.TestFilter) ([]schemas.Outcome, error)
	SquadTests(ctx context.Context, squad, protocol string, from, to time.Time) ([]schemas.Outcome, error)
}

// TestsForReview reads what [review.Review] needs for a squad's sessions since
// an instant: the squad's tests, and those that its athletes ran in other
// squads, as far back as baselines look. An athlete who, by the club file, was
// only ever in one squad is not asked about; one whom it no longer knows is.
func TestsForReview(ctx context.Context, h Tests, c *club.Club, squad, protocol string, from time.Time) ([]schemas.Outcome, error) {
	oldest := review.History(&c.Thresholds, from)
	tests, err := h.SquadTests(ctx, squad, protocol, oldest, time.Time{})
	if err != nil {
		return nil, err
	}
	athletes := map[string]bool{}
	for i := range tests {
		athletes[tests[i].Athlete] = true
	}
	for _, id := range slices.Sorted(maps.Keys(athletes)) {
		if a := c.Athlete(id); a != nil && !severalSquads(a) {
			continue
		}
		own, err := h.Tests(ctx, history.TestFilter{Athlete: id, Protocol: protocol, From: oldest})
		if err != nil {
			return nil, err
		}
		for i := range own {
			if own[i].Squad != squad {
				tests = append(tests, own[i])
			}
		}
	}
	return tests, nil
}

// severalSquads is false for an athlete who left a squad and came back to it.
func severalSquads(a *schemas.Athlete) bool {
	return slices.ContainsFunc(a.Squads, func(m schemas.Membership) bool { return m.Squad != a.Squads[0].Squad })
}
