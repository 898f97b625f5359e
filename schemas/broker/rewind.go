package broker

import (
	"context"
	"errors"
	"fmt"
	"time"

	"canter.example/schemas"
	"github.com/nats-io/nats.go/jetstream"
)

// Rewind makes consumers begin again at the start of their streams: whatever
// the streams still hold is delivered once more. Handlers write the same rows
// for it as they did before. Nobody may be consuming meanwhile.
//
// What handlers publish then bears the same ids as when it was published first,
// and is to be stored all the same, even if that was a moment ago: until streams
// are declared again, at the next start of a service, they take almost nothing
// for a duplicate.
//
// What is known of files beyond the archive's time is forgotten: such a file may
// be missing in the history that is there now, and comes back from its folder.
func (b *Broker) Rewind(ctx context.Context, work ...Work) error {
	for _, w := range work {
		err := b.js.DeleteConsumer(ctx, w.Stream, w.Durable)
		if err != nil && !errors.Is(err, jetstream.ErrConsumerNotFound) {
			return fmt.Errorf("broker: rewind %s: %w", w.Durable, err)
		}
		if err := b.forgetIDs(ctx, w.Stream); err != nil {
			return err
		}
	}
	s, err := b.js.Stream(ctx, schemas.StreamKnown)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return nil
	}
	if err == nil {
		err = s.Purge(ctx)
	}
	if err != nil {
		return fmt.Errorf("broker: forget which files are known: %w", err)
	}
	return nil
}

// forgetIDs makes a stream forget the ids of what was published lately. A server
// that starts learns them anew from the messages of that time, so it is the time
// that is made short.
func (b *Broker) forgetIDs(ctx context.Context, stream string) error {
	const shortest = 100 * time.Millisecond // that the server takes
	s, err := b.js.Stream(ctx, stream)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("broker: stream %s: %w", stream, err)
	}
	cfg := s.CachedInfo().Config
	cfg.Duplicates = shortest
	if _, err := b.js.UpdateStream(ctx, cfg); err != nil {
		return fmt.Errorf("broker: let %s forget ids: %w", stream, err)
	}
	return nil
}
