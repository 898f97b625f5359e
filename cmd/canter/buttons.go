package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"canter.example/alerts/chat"
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

// keyed returns the id of a word by its key, and whether it was taken before.
func keyed(prefix string, now time.Time, key string, taken func(suffix string) bool) (id string, known bool) {
	suffix := "-" + key
	return prefix + now.UTC().Format("20060102T150405.000000000") + suffix, taken(suffix)
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
	if err != nil {
		return err
	}
	now := time.Now().UTC()
	id, known := keyed("n", now, w.Key, func(suffix string) bool {
		for _, n := range notes {
			if strings.HasSuffix(n.ID, suffix) {
				return true
			}
		}
		return false
	})
	if known {
		return nil
	}
	n := schemas.Note{ID: id, AlertID: al.ID, Athlete: al.Athlete, Seen: seen, Text: w.Text, Who: w.Who, When: now}
	return d.p.broker.Publish(ctx, schemas.SubjectNote+al.ID, "press-"+w.Key, n)
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
	if err != nil {
		return err
	}
	now := time.Now().UTC()
	id, known := keyed("c", now, w.Key, func(suffix string) bool {
		for _, c := range corrections {
			if strings.HasSuffix(c.ID, suffix) {
				return true
			}
		}
		return false
	})
	if known {
		return nil
	}
	c := schemas.Correction{ID: id, TestID: o.TestID, FileID: o.FileID, Action: action, Who: w.Who, When: now, Why: w.Text}
	return d.p.broker.Publish(ctx, schemas.SubjectCorrection+string(o.TestID), "press-"+w.Key, c)
}
