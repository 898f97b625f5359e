package broker

import (
	"context"
	"errors"
	"fmt"

	"canter.example/schemas"
	"github.com/nats-io/nats.go/jetstream"
)

// Rewind makes consumers begin again at the start of their streams: whatever
// the streams still hold is delivered once more. Handlers write the same rows
// for it as they did before. Nobody may be consuming meanwhile.
//
// What is known of files beyond the archive's time is forgotten: such a file may
// be missing in the history that is there now, and comes back from its folder.
func (b *Broker) Rewind(ctx context.Context, work ...Work) error {
	for _, w := range work {
		err := b.js.DeleteConsumer(ctx, w.Stream, w.Durable)
		if err != nil && !errors.Is(err, jetstream.ErrConsumerNotFound) {
			return fmt.Errorf("broker: rewind %s: %w", w.Durable, err)
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
