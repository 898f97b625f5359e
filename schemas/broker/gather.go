package broker

import (
	"context"
	"errors"
	"fmt"

	"canter.example/schemas"
	"github.com/nats-io/nats.go/jetstream"
)

// gatherTries bounds how often Gather starts again because others were quicker.
const gatherTries = 100

// Gather publishes a squad event that takes the place of the one waiting on
// its subject, if any, and its work with it: merge returns the event to
// publish, given the waiting one or nil. What a merged event replaces is not
// delivered again; if it is being worked on, that work goes on.
//
// Every call gives a message later in the stream than all before it, so its
// version outranks theirs.
func (b *Broker) Gather(ctx context.Context, subject string, merge func(waiting *schemas.SquadEvent) schemas.SquadEvent) error {
	s, err := b.js.Stream(ctx, schemas.StreamSquads)
	if err != nil {
		return fmt.Errorf("broker: publish on %s: %w", subject, err)
	}
	for range gatherTries {
		var waiting *schemas.SquadEvent
		var last uint64
		m, err := s.GetLastMsgForSubject(ctx, subject)
		switch {
		case errors.Is(err, jetstream.ErrMsgNotFound):
		case err != nil:
			return fmt.Errorf("broker: publish on %s: %w", subject, err)
		default:
			last = m.Sequence
			var e schemas.SquadEvent
			if err := schemas.DecodeEvent(m.Data, &e); err == nil {
				waiting = &e
			}
		}
		body, err := schemas.EncodeEvent(merge(waiting))
		if err != nil {
			return err
		}
		_, err = b.js.Publish(ctx, subject, body, jetstream.WithExpectLastSequencePerSubject(last))
		b.pulse.note(ctx, b.nc, err)
		if isWrongLastSequence(err) {
			continue // somebody published, or the waiting one is done
		}
		if err != nil {
			return fmt.Errorf("broker: publish on %s: %w", subject, err)
		}
		return nil
	}
	return fmt.Errorf("broker: publish on %s: others were quicker %d times", subject, gatherTries)
}
