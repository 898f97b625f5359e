package broker

import (
	"context"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// untilAstray looks after a consumer until it has gone astray and was deleted,
// to be made anew, which it reports with true, or until ctx ends.
func (b *Broker) untilAstray(ctx context.Context, w Work) bool {
	t := time.NewTicker(b.ackWait)
	defer t.Stop()
	for {
		select {
		case <-t.C:
		case <-ctx.Done():
			return false
		}
		astray, err := b.mend(ctx, w)
		switch {
		case ctx.Err() != nil:
			return false
		case astray && err != nil:
			w.Log.Error("broker: a consumer delivers no more and can't be made anew: delete it, and the next start of its role makes it",
				"stream", w.Stream, "consumer", w.Durable, "err", err)
		case astray:
			w.Log.Warn("broker: a consumer had lost its place and was made anew; what it may have missed is handled again",
				"stream", w.Stream, "consumer", w.Durable)
			return true
		}
	}
}

// mend deletes a consumer that has gone astray. Servers of 2.9 now and then put
// the place of one far behind the end of its stream (nats-server issue 4677:
// stream_seq 18446744073709551614), seen after its process was killed over and
// over: from then on it is given nothing more, and says that nothing waits.
// Anew it is given all that the stream holds, which is handled as any second
// delivery is.
func (b *Broker) mend(ctx context.Context, w Work) (astray bool, err error) {
	// The consumer first: the stream's end only grows meanwhile.
	c, err := b.js.Consumer(ctx, w.Stream, w.Durable)
	if err != nil {
		return false, fmt.Errorf("broker: consumer %s: %w", w.Durable, err)
	}
	s, err := b.js.Stream(ctx, w.Stream)
	if err != nil {
		return false, fmt.Errorf("broker: stream %s: %w", w.Stream, err)
	}
	if !b.astray(c.CachedInfo(), s.CachedInfo()) {
		return false, nil
	}
	if err := b.js.DeleteConsumer(ctx, w.Stream, w.Durable); err != nil {
		return true, fmt.Errorf("broker: delete consumer %s: %w", w.Durable, err)
	}
	return true, nil
}

// isAstray reports whether a consumer has been given more than there ever was.
func isAstray(c *jetstream.ConsumerInfo, s *jetstream.StreamInfo) bool {
	return c.Delivered.Stream > s.State.LastSeq
}
