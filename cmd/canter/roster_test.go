package main

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

// rosters records what is saved; the first so many are refused.
type rosters struct {
	history.Store
	refuse int
	saved  [][]history.AthleteRow
}

func (r *rosters) SaveAthletes(_ context.Context, as []history.AthleteRow) error {
	if r.refuse > 0 {
		r.refuse--
		return errors.New("not now")
	}
	r.saved = append(r.saved, as)
	return nil
}

func TestASquadThatChangesAtADateIsSavedOnceWithoutARestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		moves := time.Now().Add(36 * time.Hour)
		c := &club.Club{Zone: time.UTC, Athletes: []schemas.Athlete{{ID: "AKF", Squads: []schemas.Membership{
			{Squad: "u21", Period: schemas.Period{To: moves}}, {Squad: "first", Period: schemas.Period{From: moves}},
		}}}}
		h := &rosters{refuse: 2}
		p := &pipeline{club: c, history: h, log: slog.New(slog.DiscardHandler)}
		ctx, stop := context.WithTimeout(t.Context(), 72*time.Hour)
		defer stop()
		p.keepRoster(ctx, athleteRows(c, time.Now()))
		if len(h.saved) != 1 || h.saved[0][0].Squad != "first" || h.refuse != 0 {
			t.Errorf("saved %+v, %d refusals to come: want the new squad, once, tried until it is taken", h.saved, h.refuse)
		}
	})
}
