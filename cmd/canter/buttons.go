package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"canter.example/alerts/chat"
	"canter.example/cmd/canter/staff"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

// desk takes what staff say by pressing buttons in chat, and sends it off as
// the commands do.
type desk struct{ p *pipeline }

// listen hears pressed buttons until ctx ends. What goes wrong with it is said
// in the log; the rest of the service does its work without.
func (p *pipeline) listen(ctx context.Context) {
	c := &p.club.Chat
	if !c.Buttons() {
		return
	}
	for wait := time.Second; ctx.Err() == nil; wait = min(2*wait, 5*time.Minute) {
		err := p.listenOnce(ctx, c)
		if err == nil || ctx.Err() != nil {
			return
		}
		p.log.Error("chat: buttons are not heard", "err", err, "again in", wait)
		select {
		case <-ctx.Done():
		case <-time.After(wait):
		}
	}
}

func (p *pipeline) listenOnce(ctx context.Context, c *club.Chat) error {
	token, err := secret(c.TokenEnv, c.TokenFile)
	if err != nil {
		return fmt.Errorf("chat token: %w", err)
	}
	app, err := secret(c.AppTokenEnv, c.AppTokenFile)
	if err != nil {
		return fmt.Errorf("chat app token: %w", err)
	}
	return chat.Listen(ctx, chat.ListenConfig{Token: token, AppToken: app, APIURL: c.APIURL, Log: p.log, Name: c.StaffName, Desk: desk{p}})
}

// Note implements [chat.Desk].
func (d desk) Note(ctx context.Context, w chat.Word, alert string, seen bool) error {
	al, ok, err := d.p.history.Alert(ctx, alert)
	if err != nil {
		return err
	}
	if !ok {
		return errors.New("there is no such alert any more")
	}
	notes, err := d.p.history.Notes(ctx, history.NoteFilter{Alert: alert})
	if err != nil || slices.ContainsFunc(notes, func(n schemas.Note) bool { return staff.Taken(n.ID, w.Key) }) {
		return err
	}
	_, err = staff.Desk{Broker: d.p.broker, Key: w.Key}.Note(ctx, &al, w.Who, seen, w.Text)
	return err
}

// Correct implements [chat.Desk].
func (d desk) Correct(ctx context.Context, w chat.Word, test schemas.TestID, action schemas.CorrectionAction) error {
	o, ok, err := d.p.history.Test(ctx, test)
	if err != nil {
		return err
	}
	if !ok {
		return errors.New("there is no such test any more")
	}
	corrections, err := d.p.history.AllCorrections(ctx, test)
	if err != nil || slices.ContainsFunc(corrections, func(c schemas.Correction) bool { return staff.Taken(c.ID, w.Key) }) {
		return err
	}
	_, err = staff.Desk{Broker: d.p.broker, Key: w.Key}.Correct(ctx, &o, staff.Change{Action: action, Who: w.Who, Why: w.Text})
	return err
}
