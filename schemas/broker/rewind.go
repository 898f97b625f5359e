package broker

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// Rewind makes consumers begin again at the start of their streams: whatever
// the streams still hold is delivered once more. Handlers write the same rows
// for it as they did before. Nobody may be consuming meanwhile.
func (b *Broker) Rewind(ctx context.Context, work ...Work) error {
	for _, w := range work {
		err := b.js.DeleteConsumer(ctx, w.Stream, w.Durable)
		if err != nil && !errors.Is(err, jetstream.ErrConsumerNotFound) {
			return fmt.Errorf("broker: rewind %s: %w", w.Durable, err)
		}
	}
	return nil
}
