package digest

import (
	"context"
	"slices"
	"time"

	"canter.example/alerts/schedule"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

// History is what a digest needs of the history.
type History interface {
	Tests(ctx context.Context, f history.TestFilter) ([]schemas.Outcome, error)
	Assessments(ctx context.Context, f history.AssessmentFilter) ([]schemas.Assessment, error)
	Alerts(ctx context.Context, f history.AlertFilter) ([]schemas.Alert, error)
}

// year is how far back a month's typical error looks.
const year = 365 * 24 * time.Hour

// Read reads a squad's period and sums it up. Errors are the history's.
func Read(ctx context.Context, h History, c *club.Club, kind Kind, squad string, p schedule.Period) (*Digest, error) {
	var rows Rows
	var err error
	before := p.Before()
	if rows.Tests, err = h.Tests(ctx, history.TestFilter{Squad: squad, From: p.From, To: p.To}); err != nil {
		return nil, err
	}
	if rows.Assessments, err = h.Assessments(ctx, history.AssessmentFilter{Squad: squad, From: p.From, To: p.To}); err != nil {
		return nil, err
	}
	if rows.Alerts, err = h.Alerts(ctx, history.AlertFilter{Squad: squad, From: p.From, To: p.To}); err != nil {
		return nil, err
	}
	if rows.Before, err = h.Alerts(ctx, history.AlertFilter{Squad: squad, From: before.From, To: before.To}); err != nil {
		return nil, err
	}
	for _, state := range []schemas.AlertState{schemas.AlertOpen, schemas.AlertSeen} {
		older, err := h.Alerts(ctx, history.AlertFilter{Squad: squad, State: state, To: before.From})
		if err != nil {
			return nil, err
		}
		rows.Older = append(rows.Older, older...)
	}
	slices.SortStableFunc(rows.Older, func(a, b schemas.Alert) int { return a.About.Compare(b.About) })
	if kind == Month {
		if rows.Past, err = h.Tests(ctx, history.TestFilter{Squad: squad, From: p.To.Add(-year), To: p.To}); err != nil {
			return nil, err
		}
	}
	return Sum(c, kind, squad, p, &rows), nil
}
