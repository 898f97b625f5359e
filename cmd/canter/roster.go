package main

import (
	"context"
	"reflect"
	"time"

	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

// rosterEvery is how often it is asked whether the roster has changed by itself:
// athletes change squads at a date, and age with the year.
const rosterEvery = 10 * time.Minute

// keepRoster saves the roster where it is no longer what was saved, until ctx
// ends.
func (p *pipeline) keepRoster(ctx context.Context, saved []history.AthleteRow) {
	tick := time.NewTicker(rosterEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		rows := athleteRows(p.club, time.Now())
		if reflect.DeepEqual(rows, saved) {
			continue
		}
		if err := p.history.SaveAthletes(ctx, rows); err != nil {
			if ctx.Err() == nil {
				p.log.Warn("the roster was not saved; it is tried again", "err", err)
			}
			continue
		}
		saved = rows
	}
}

// athleteRows is the roster on a day, as the history may know it.
func athleteRows(c *club.Club, now time.Time) []history.AthleteRow {
	rows := make([]history.AthleteRow, 0, len(c.Athletes))
	for i := range c.Athletes {
		a := &c.Athletes[i]
		row := history.AthleteRow{
			ID: a.ID, Name: club.Called(a, a.ID, c.Privacy.HistoryNames), Squad: a.SquadAt(now), Squads: a.Squads,
			Sex: a.Sex, HRmax: a.HRmaxAt(now.Year()), HRrest: a.HRrest,
		}
		if c.Privacy.HistoryNames == club.ShowName {
			row.BirthYear = a.BirthYear // with an id it would tell who it is
		}
		rows = append(rows, row)
	}
	return rows
}
