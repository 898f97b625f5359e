package alerts

import (
	"context"
	"errors"

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
// said of sessions into the outbox, or sends one message of it. The attempt is on record before the chat is asked, so
// that whoever comes after a crash looks in the chat first.
func (s *Service) Send(ctx context.Context, d *broker.Delivery) error {
	var e schemas.ChatEvent
	if err := schemas.DecodeEvent(d.Data, &e); err != nil {
		return broker.Permanent(err)
	}
	if err := s.tellSessions(ctx, e.Sessions); err != nil {
		return err
	}
	if e.Message == "" {
		return nil
	}
	return s.send(ctx, e.Message)
}

func (s *Service) send(ctx context.Context, id string) error {
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
	before := m
	m.Attempts++
	if err := s.history.SaveMessage(ctx, m); err != nil {
		return err
	}
	ref, err := s.cfg.Chat.Post(ctx, before)
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

// fileOf returns the file whose test a message was the first to tell of; an
// empty one for all other messages. It serves logs and measurements only, so
// trouble with it is none of the message's.
func (s *Service) fileOf(ctx context.Context, m schemas.Message) schemas.File {
	if m.Thread != "" {
		return schemas.File{}
	}
	al, ok, err := s.history.Alert(ctx, m.AlertID)
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
