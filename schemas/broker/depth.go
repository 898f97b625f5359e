package broker

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// Depth is how much of a consumer's work is left to do.
type Depth struct {
	// Waiting were not handed to anybody yet, InHand were and are not
	// acknowledged: being worked on, or given back to be tried again later.
	Waiting, InHand int
	// Oldest is when the oldest of them was published; zero when there is none.
	Oldest time.Time
}

// Depth returns how much of w is left. A consumer that does not exist yet has
// everything before it.
func (b *Broker) Depth(ctx context.Context, w Work) (Depth, error) {
	s, err := b.js.Stream(ctx, w.Stream)
	if err != nil {
		return Depth{}, fmt.Errorf("broker: stream %s: %w", w.Stream, err)
	}
	var d Depth
	next := s.CachedInfo().State.FirstSeq
	c, err := s.Consumer(ctx, w.Durable)
	switch {
	case errors.Is(err, jetstream.ErrConsumerNotFound):
		d.Waiting = int(min(s.CachedInfo().State.Msgs, 1<<31-1)) //nolint:gosec // bounded
	case err != nil:
		return Depth{}, fmt.Errorf("broker: consumer %s: %w", w.Durable, err)
	default:
		info := c.CachedInfo()
		d.Waiting = int(min(info.NumPending, 1<<31-1)) //nolint:gosec // bounded
		d.InHand = info.NumAckPending
		next = max(next, info.AckFloor.Stream+1)
	}
	if d.Waiting+d.InHand == 0 {
		return d, nil
	}
	m, err := s.GetMsg(ctx, next)
	switch {
	case errors.Is(err, jetstream.ErrMsgNotFound): // replaced by a newer one, or just done
	case err != nil:
		return Depth{}, fmt.Errorf("broker: oldest message of %s: %w", w.Durable, err)
	default:
		d.Oldest = m.Time
	}
	return d, nil
}
