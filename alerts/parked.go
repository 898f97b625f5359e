package alerts

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"canter.example/alerts/message"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// A folder of files that can't be handled is one message, not one a file: the
// files that are parked gather as a squad's tests do, and are told together
// once nothing more comes. The outbox is the record of what was told.

// parkedFiles is the protocol's place in events about a squad's parked files,
// and begins the session's in their messages.
const parkedFiles = "parked files"

// onParked notes that a file could not be handled, to be told once a file.
func (s *Service) onParked(ctx context.Context, e schemas.ParkedEvent, v schemas.Version) error {
	al, ok := rules.Parked(e.File)
	if !ok {
		return nil
	}
	old, known, err := s.history.Alert(ctx, al.ID)
	if err != nil {
		return err
	}
	al.Version, al.Told = v, true
	if known {
		al.Told = old.Told
	}
	al.Text = message.Parked(s.club, e.File)
	if err := s.history.SaveAlert(ctx, al, nil); err != nil {
		return err
	}
	return s.gather(ctx, place{squad: al.Squad, protocol: parkedFiles, from: al.About}, false)
}

// tellParked puts into the outbox which of a squad's files are parked and were
// not told yet: the work of an event of [schemas.StreamChat], one at a time
// among all processes.
func (s *Service) tellParked(ctx context.Context, squad string) error {
	session := parkedFiles + " " + squad
	messages, err := s.history.SessionMessages(ctx, session)
	if err != nil {
		return err
	}
	said := whatWasSaid(messages)
	alerts, err := s.history.Alerts(ctx, history.AlertFilter{Squad: squad})
	if err != nil {
		return err
	}
	var files []schemas.File
	var says []schemas.Saying
	name := []string{"say", parkedFiles}
	for _, al := range alerts {
		f, due, err := s.parkedDue(ctx, &al, squad, said)
		if err != nil {
			return err
		}
		if due {
			files = append(files, f)
			says = append(says, schemas.Saying{Alert: al.ID, Number: 1, Turn: schemas.TurnTold})
			name = append(name, al.ID)
		}
	}
	if len(files) > 0 {
		slices.SortStableFunc(files, func(a, b schemas.File) int { return cmp.Compare(a.Origin.Path, b.Origin.Path) })
		m := s.newMessage(schemas.Alert{ID: says[0].Alert, Squad: squad}, schemas.NewAlertID(name...), "", message.Parked(s.club, files...))
		m.Channel, m.Session, m.Says = s.channel(&schemas.Alert{Rule: schemas.RuleFileParked, Squad: squad}), session, says
		if err := s.history.SaveMessage(ctx, m); err != nil {
			return err
		}
		s.log.Info("message", "message", m.ID, "squad", squad, "parked", len(files))
		messages = append(messages, m)
	}
	for _, m := range messages {
		if m.State == schemas.MessagePending {
			if err := s.enqueue(ctx, m.ID); err != nil {
				return err
			}
		}
	}
	return nil
}

// parkedDue returns the file of an alert when staff have not heard of it.
func (s *Service) parkedDue(ctx context.Context, al *schemas.Alert, squad string, said map[string]saidOf) (schemas.File, bool, error) {
	open := al.State == schemas.AlertOpen || al.State == schemas.AlertSeen
	if al.Rule != schemas.RuleFileParked || al.Squad != squad || !open || !al.Told || said[al.ID].last.Number > 0 {
		return schemas.File{}, false, nil
	}
	// Releases before the first that gathered told each file by itself.
	if _, told, err := s.history.Message(ctx, al.ID); err != nil || told {
		return schemas.File{}, false, err
	}
	f, ok, err := s.history.File(ctx, al.FileID)
	return f, ok && f.State == schemas.FileParked, err
}

// askTellParked asks for a squad's parked files to be told.
func (s *Service) askTellParked(ctx context.Context, e schemas.SquadEvent, v schemas.Version) error {
	id := fmt.Sprintf("tell-%s-%d", schemas.SquadToken(e.Squad, e.Protocol), v)
	return s.broker.Publish(ctx, schemas.SubjectChat+id, id, schemas.ChatEvent{Sessions: []string{parkedFiles + " " + e.Squad}})
}

// tellSessions puts into the outbox what is to be said of sessions, or sends what
// waits there; busy is whether others wait meanwhile.
func (s *Service) tellSessions(ctx context.Context, sessions []string, busy bool) error {
	var held []string
	for _, session := range sessions {
		var err error
		if squad, parked := strings.CutPrefix(session, parkedFiles+" "); parked {
			err = s.tellParked(ctx, squad)
		} else if session == outbox {
			err = s.sendFree(ctx, busy)
		} else {
			held = append(held, session)
		}
		if err != nil {
			return err
		}
	}
	for some := range slices.Chunk(held, recordsAtOnce) {
		records, err := s.records(ctx, some)
		if err != nil {
			return err
		}
		for _, r := range records {
			if err := s.tell(ctx, r); err != nil {
				return err
			}
		}
	}
	return nil
}
