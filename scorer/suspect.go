package scorer

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
)

// An event that comes back again and again is either waiting for something to
// come up, which may take days and is nobody's fault, or it is poison: the
// process ends on it, a part of canter panics, the history will not take what
// comes of it. Poison is parked like any file that can't be handled. The two are
// told apart by what happened, never by how often alone.

const (
	// suspectFrom is the delivery from which on an event is handled by itself,
	// under a mark in history, so that an end of the process can be laid at its
	// door.
	suspectFrom = 3
	// maxDeaths is how many of these deliveries in a row may end the process.
	maxDeaths = 4
	// maxFailures is how many deliveries may fail by panic or by what the
	// history will not take.
	maxFailures = 8
	// sureAfter is how many times running the last of them must fail, with a
	// pause between.
	sureAfter = 3
)

// The marks, in the table of slots: one job before the work, one after it.
const (
	jobBegan = "scoring-again-began"
	jobEnded = "scoring-again-ended"
)

// errPoison marks failures that more tries hardly mend.
var errPoison = errors.New("not a matter of waiting")

// Handle does the work of one event of [schemas.StreamInput].
func (s *Service) Handle(ctx context.Context, d *broker.Delivery) error {
	if d.Tries < suspectFrom || !s.parkable(d) {
		return s.handle(ctx, d)
	}
	s.alone.Lock()
	defer s.alone.Unlock()
	deaths, err := s.deaths(ctx, d)
	if err != nil {
		return err
	}
	if deaths >= maxDeaths {
		return s.parkPoison(ctx, d, fmt.Sprintf("canter ended %d times in a row while it worked on this file: please report it with the file", suspectFrom-1+deaths))
	}
	if err := s.history.MarkSlot(ctx, jobBegan, markOf(d, d.Tries), s.now()); err != nil {
		return err
	}
	failed := s.recovered(ctx, d)
	// What failed may have been the first thing to meet a database that is back:
	// a connection from before, say. What fails several times running, while the
	// database takes marks, is another matter.
	for try := 1; d.Tries >= maxFailures && errors.Is(failed, errPoison) && try < sureAfter; try++ {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(s.cfg.pause()):
		}
		failed = s.recovered(ctx, d)
	}
	if err := s.history.MarkSlot(ctx, jobEnded, markOf(d, d.Tries), s.now()); err != nil {
		return errors.Join(failed, err)
	}
	if d.Tries >= maxFailures && errors.Is(failed, errPoison) {
		return s.parkPoison(ctx, d, fmt.Sprintf("after %d tries: %v", d.Tries, failed))
	}
	return failed
}

// recovered handles an event and turns a panic into an error.
func (s *Service) recovered(ctx context.Context, d *broker.Delivery) (err error) {
	defer func() {
		if p := recover(); p != nil {
			s.log.Error("scorer: panicked", "subject", d.Subject, "panic", p, "stack", string(debug.Stack()))
			err = fmt.Errorf("the scorer failed on this file (%v): please report it with the file: %w", p, errPoison)
		}
	}()
	return s.handle(ctx, d)
}

// parkable reports whether an event is about a file's bytes.
func (s *Service) parkable(d *broker.Delivery) bool {
	return strings.HasPrefix(d.Subject, schemas.SubjectFile) || strings.HasPrefix(d.Subject, schemas.SubjectRescore)
}

func markOf(d *broker.Delivery, tries int) string { return fmt.Sprintf("%d try %d", d.Version, tries) }

// deaths counts how many of the last deliveries of an event began and never
// came to an end.
func (s *Service) deaths(ctx context.Context, d *broker.Delivery) (n int, err error) {
	for try := d.Tries - 1; try >= suspectFrom && n < maxDeaths; try-- {
		began, err := s.history.SlotDone(ctx, jobBegan, markOf(d, try))
		if err != nil || !began {
			return n, err
		}
		ended, err := s.history.SlotDone(ctx, jobEnded, markOf(d, try))
		if err != nil || ended {
			return n, err
		}
		n++
	}
	return n, nil
}

// parkPoison parks the file of an event without reading it. That this is
// stored shows that history takes what it can take.
func (s *Service) parkPoison(ctx context.Context, d *broker.Delivery, reason string) error {
	if strings.HasPrefix(d.Subject, schemas.SubjectFile) {
		msg, err := s.broker.FileOf(ctx, d, s.club.Files.MaxSize)
		if err != nil && !errors.Is(err, broker.ErrMessage) && !errors.Is(err, broker.ErrNoFile) {
			return err
		}
		return s.park(ctx, msg, d.Version, "", reason)
	}
	id := schemas.FileID(strings.TrimPrefix(d.Subject, schemas.SubjectRescore))
	f, ok, err := s.history.File(ctx, id)
	if err != nil {
		return err
	}
	if !ok {
		f = schemas.File{ID: id}
	}
	return s.park(ctx, broker.FileMessage{ID: id, Origin: f.Origin, Size: f.Size}, d.Version, f.Format, reason)
}

// refused marks what history will not take; it may not be able to take anything
// at present, so only the parking of the file tells.
func refused(err error) error { return fmt.Errorf("%w (%w)", err, errPoison) }
