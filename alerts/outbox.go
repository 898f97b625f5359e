package alerts

import (
	"context"
	"errors"
	"fmt"
	"time"

	"canter.example/alerts/chat"
	"canter.example/schemas"
	"canter.example/schemas/broker"
)

// newMessage returns a message of the outbox about an alert.
func (s *Service) newMessage(al schemas.Alert, id, thread, text string) schemas.Message {
	return schemas.Message{
		ID: id, AlertID: al.ID, Channel: s.club.ChannelOf(al.Squad), Thread: thread,
		Text: text, State: schemas.MessagePending, Created: s.now().UTC(),
	}
}

// say stores an alert with its message and queues the message.
func (s *Service) say(ctx context.Context, al schemas.Alert, m schemas.Message) error {
	if err := s.history.SaveAlert(ctx, al, []schemas.Message{m}); err != nil {
		return err
	}
	s.log.Info("alert", "alert", al.ID, "rule", al.Rule, "state", al.State, "athlete", al.Athlete, "squad", al.Squad, "about", al.About)
	return s.enqueue(ctx, m.ID)
}

// queue queues a stored message that was not sent yet.
func (s *Service) queue(ctx context.Context, id string) error {
	m, ok, err := s.history.Message(ctx, id)
	if err != nil || !ok || m.State != schemas.MessagePending {
		return err
	}
	return s.enqueue(ctx, id)
}

func (s *Service) enqueue(ctx context.Context, id string) error {
	return s.broker.Publish(ctx, schemas.SubjectChat+id, id, schemas.ChatEvent{Message: id})
}

// Send does the work of an event of [schemas.StreamChat]: it puts what is to be
// said of sessions into the outbox, or sends one message of it. The attempt is
// on record before the chat is asked, so that whoever comes after a crash looks
// in the chat first.
func (s *Service) Send(ctx context.Context, d *broker.Delivery) error {
	var e schemas.ChatEvent
	if err := schemas.DecodeEvent(d.Data, &e); err != nil {
		return broker.Permanent(err)
	}
	// Elsewhere an answer is read as one to the message before it.
	_, threads := s.cfg.Chat.(chat.Pacer)
	busy := threads && d.Left > 0
	if err := s.tellSessions(ctx, e.Sessions, busy); err != nil {
		return err
	}
	if e.Message == "" {
		return nil
	}
	return s.send(ctx, e.Message, busy)
}

// send sends a message of the outbox. One that can't go yet, because its channel
// takes none now or an earlier one of its thread has not gone, stays in the
// outbox until it can: a busy channel holds up neither the others nor what is to
// be said next. An answer, too, stays while others wait: news goes first.
func (s *Service) send(ctx context.Context, id string, busy bool) error {
	m, ok, err := s.history.Message(ctx, id)
	if err != nil {
		return err
	}
	if !ok {
		s.log.Error("alerts: a message was queued that history does not have", "message", id)
		return nil
	}
	if m.State != schemas.MessagePending {
		return nil
	}
	pause := s.pause(&m)
	if pause <= 0 && m.Thread == "" {
		return s.sendNow(ctx, m)
	}
	if pause > 0 || busy {
		return s.lookLater(ctx, pause)
	}
	pending, err := s.history.Messages(ctx, schemas.MessagePending)
	if err != nil {
		return err
	}
	if blocked(&m, pending) {
		return s.lookLater(ctx, pause)
	}
	return s.sendNow(ctx, m)
}

// outbox is the protocol's place in the event that looks at the outbox later,
// and the session's in the one that does so.
const outbox = "outbox"

// sendFree sends what waits in the outbox and can go now: a few messages, one
// while others wait. The rest has its turn after what else there is to say.
func (s *Service) sendFree(ctx context.Context, busy bool) error {
	most := freeAtOnce
	if busy {
		most = 1
	}
	pending, err := s.history.Messages(ctx, schemas.MessagePending)
	if err != nil {
		return err
	}
	var sent int
	soonest := longPause
	for i := range pending {
		m := &pending[i]
		pause := s.pause(m)
		if pause <= 0 && blocked(m, pending) {
			continue // what it waits for is among them
		}
		if pause > 0 || sent == most {
			soonest = min(soonest, pause)
			continue
		}
		if err := s.sendNow(ctx, *m); err != nil {
			return err
		}
		sent++
	}
	if sent == len(pending) {
		return nil
	}
	if sent > 0 {
		soonest = 0 // an answer may have become free
	}
	return s.lookLater(ctx, soonest)
}

// freeAtOnce bounds how long others wait for what waited itself.
const freeAtOnce = 3

// lookLater asks for a look at the outbox, once for all who ask, at the earliest
// of the times they give.
func (s *Service) lookLater(ctx context.Context, pause time.Duration) error {
	at := s.now().Add(max(pause, lookSoon)).UTC()
	return s.broker.Gather(ctx, schemas.SubjectSquad+schemas.SquadToken("", outbox), func(w *schemas.SquadEvent) schemas.SquadEvent {
		e := schemas.SquadEvent{Protocol: outbox, Waiting: at}
		if w != nil && w.Waiting.Before(e.Waiting) {
			e.Waiting = w.Waiting
		}
		return e
	})
}

// lookSoon is the least time between two looks.
const lookSoon = 20 * time.Millisecond

// look does the work of that event: it waits, and then has the outbox looked at
// where messages are sent, one at a time among all processes.
func (s *Service) look(ctx context.Context, e schemas.SquadEvent, d *broker.Delivery) error {
	if pause := min(e.Waiting.Sub(s.now()), longPause); pause > 0 && d.Tries <= 1 {
		return broker.Hold(pause)
	}
	id := fmt.Sprintf("%s-%d", outbox, d.Version)
	return s.broker.Publish(ctx, schemas.SubjectChat+id, id, schemas.ChatEvent{Sessions: []string{outbox}})
}

// longPause is what makes it better to let the chat say how long.
const longPause = 30 * time.Second

// pause returns how long a message's channel takes no more, 0 when the chat is
// to say so itself.
func (s *Service) pause(m *schemas.Message) time.Duration {
	p, ok := s.cfg.Chat.(chat.Pacer)
	if !ok {
		return 0
	}
	if d := p.Pause(m.Channel, isChange(m)); d <= longPause {
		return d
	}
	return 0
}

// blocked reports whether a message answers one that is among those pending, or
// comes after one in the same thread. Pending are in the order they were made.
func blocked(m *schemas.Message, pending []schemas.Message) bool {
	if m.Thread == "" {
		return false
	}
	before := true
	for i := range pending {
		o := &pending[i]
		if o.ID == m.ID {
			before = false
		} else if o.ID == m.Thread || before && o.Thread == m.Thread {
			return true
		}
	}
	return false
}

// sendNow makes one attempt at a pending message.
func (s *Service) sendNow(ctx context.Context, m schemas.Message) error {
	before := m
	m.Attempts++
	if err := s.history.SaveMessage(ctx, m); err != nil {
		return err
	}
	ref, err := s.hand(ctx, before)
	if errors.Is(err, chat.ErrRefused) {
		s.log.Error("alerts: the chat refuses a message", "message", m.ID, "channel", m.Channel, "err", err)
		s.cfg.Meter.Refused()
		m.State, m.Reason = schemas.MessageFailed, err.Error()
		return s.history.SaveMessage(ctx, m)
	}
	if err != nil {
		s.cfg.Meter.Failed()
	}
	if busy, ok := errors.AsType[*chat.TemporaryError](err); ok {
		return broker.After(busy.RetryAfter, err)
	}
	if err != nil {
		return err
	}
	m.State, m.Reference, m.Sent = schemas.MessageSent, ref, s.now().UTC()
	if err := s.history.SaveMessage(ctx, m); err != nil {
		return err
	}
	file := s.fileOf(ctx, m)
	s.cfg.Meter.Sent(file.Origin.Seen)
	s.log.Info("message sent", "message", m.ID, "file", file.ID.Short(), "channel", m.Channel, "attempt", m.Attempts)
	return nil
}

// hand gives a message to the chat: a new one, or a change of one it has.
func (s *Service) hand(ctx context.Context, m schemas.Message) (ref string, err error) {
	p := chat.Post{Message: m}
	if p.Parts, err = s.parts(ctx, &m); err != nil {
		return "", err
	}
	if !isChange(&m) {
		p.Pictures = s.pictures(ctx, &m)
		return s.cfg.Chat.Post(ctx, p)
	}
	root, ok, err := s.history.Message(ctx, m.Thread)
	if err != nil {
		return "", err
	}
	editor, can := s.cfg.Chat.(chat.Editor)
	if !can || !ok || root.State != schemas.MessageSent || root.Reference == "" {
		return "", &chat.RefusedError{Reason: "there is no message to change"}
	}
	// It stays the message that it is, under its own id.
	p.ID = root.ID
	return root.Reference, editor.Edit(ctx, root.Reference, p)
}

// fileOf returns the file whose test a message was the first to tell of; an
// empty one for all other messages. It serves logs and measurements only, so
// trouble with it is none of the message's.
func (s *Service) fileOf(ctx context.Context, m schemas.Message) schemas.File {
	if m.Thread != "" {
		return schemas.File{}
	}
	id := m.AlertID
	for _, x := range m.Says {
		if id == "" && x.Turn == schemas.TurnTold && x.Alert != m.ID {
			id = x.Alert
		}
	}
	al, ok, err := s.history.Alert(ctx, id)
	if err != nil || !ok || al.TestID == "" {
		return schemas.File{}
	}
	o, ok, err := s.history.Test(ctx, al.TestID)
	if err != nil || !ok {
		return schemas.File{}
	}
	f, _, _ := s.history.File(ctx, o.FileID)
	return f
}
