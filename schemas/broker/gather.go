package broker

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"canter.example/schemas"
	"github.com/nats-io/nats.go/jetstream"
)

// gatherTries bounds how often Gather starts again because others were quicker.
const gatherTries = 100

// gathering is what this process gathers on one subject: calls that come while
// an event is being published share the next one.
type gathering struct {
	mu      sync.Mutex
	waiting []gatherCall
	running bool

	// last is the place of the event published last, which is likely still the
	// one that waits: the broker says when it is not. 0 when nothing is known.
	last  uint64
	event *schemas.SquadEvent
}

// gatherCall is one call that waits for its event.
type gatherCall struct {
	merge func(waiting *schemas.SquadEvent) schemas.SquadEvent
	done  chan error
}

// Gather publishes a squad event that takes the place of the one waiting on
// its subject, if any, and its work with it: merge returns the event to
// publish, given the waiting one or nil; it may be called again with another, and
// is to give what follows from that alone. What a merged event replaces is not
// delivered again; if it is being worked on, that work goes on.
//
// Every call gives a message later in the stream than all that were before it,
// so its version outranks theirs. Calls at the same time share one.
func (b *Broker) Gather(ctx context.Context, subject string, merge func(waiting *schemas.SquadEvent) schemas.SquadEvent) error {
	v, _ := b.gatherings.LoadOrStore(subject, new(gathering))
	g, _ := v.(*gathering)
	c := gatherCall{merge: merge, done: make(chan error, 1)}
	g.mu.Lock()
	g.waiting = append(g.waiting, c)
	lead := !g.running
	g.running = true
	g.mu.Unlock()
	if lead {
		go b.gatherAll(subject, g) //nolint:contextcheck,gosec // it publishes for all who wait: no one's context ends it
	}
	select {
	case err := <-c.done:
		return err
	case <-ctx.Done():
		return fmt.Errorf("broker: publish on %s: %w", subject, ctx.Err())
	}
}

// gatherAll publishes until nobody waits.
func (b *Broker) gatherAll(subject string, g *gathering) {
	for {
		g.mu.Lock()
		calls := g.waiting
		g.waiting = nil
		g.running = len(calls) > 0
		g.mu.Unlock()
		if len(calls) == 0 {
			return
		}
		err := b.gatherOnce(context.Background(), subject, g, calls)
		if err != nil {
			err = fmt.Errorf("broker: publish on %s: %w", subject, err)
		}
		for _, c := range calls {
			c.done <- err
		}
	}
}

// gatherOnce publishes the event of some calls.
func (b *Broker) gatherOnce(ctx context.Context, subject string, g *gathering, calls []gatherCall) error {
	for range gatherTries {
		if g.last == 0 {
			if err := b.lastGathered(ctx, subject, g); err != nil {
				return err
			}
		}
		waiting := g.event
		for _, c := range calls {
			e := c.merge(waiting)
			waiting = &e
		}
		body, err := schemas.EncodeEvent(*waiting)
		if err != nil {
			return err
		}
		ack, err := b.js.Publish(ctx, subject, body, jetstream.WithExpectLastSequencePerSubject(g.last))
		b.pulse.note(ctx, b.nc, err)
		if err != nil {
			g.last, g.event = 0, nil
		}
		if isWrongLastSequence(err) {
			continue // somebody else published, or the waiting one is done
		}
		if err != nil {
			return err
		}
		g.last, g.event = ack.Sequence, waiting
		return nil
	}
	return fmt.Errorf("others were quicker %d times", gatherTries)
}

// lastGathered reads the event that waits, leaving 0 when there is none.
func (b *Broker) lastGathered(ctx context.Context, subject string, g *gathering) error {
	m, err := b.streams[schemas.StreamSquads].GetLastMsgForSubject(ctx, subject)
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	var e schemas.SquadEvent
	g.last = m.Sequence
	if schemas.DecodeEvent(m.Data, &e) == nil { // what can't be read is replaced without its work
		g.event = &e
	}
	return nil
}
