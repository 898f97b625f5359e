package broker_test

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"sync/atomic"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/broker/brokertest"
	"github.com/nats-io/nats.go/jetstream"
)

func TestAConsumerIsAstrayWhenItWasGivenMoreThanThereEverWas(t *testing.T) {
	for _, c := range []struct {
		delivered, last uint64
		want            bool
	}{
		{0, 0, false}, {0, 31, false}, {30, 31, false}, {31, 31, false}, {32, 31, true},
		{math.MaxUint64 - 2, 31, true}, // as seen
	} {
		info := jetstream.ConsumerInfo{Delivered: jetstream.SequenceInfo{Stream: c.delivered}}
		if got := broker.IsAstray(&info, &jetstream.StreamInfo{State: jetstream.StreamState{LastSeq: c.last}}); got != c.want {
			t.Errorf("given up to %d of %d: %v", c.delivered, c.last, got)
		}
	}
}

// Whoever consumes meanwhile goes on with the new one.
func TestConsumingGoesOnWithAConsumerMadeAnew(t *testing.T) {
	url := brokertest.NATS(t)
	b, err := broker.Open(t.Context(), broker.Config{URL: url, AckWait: 300 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Close)
	other, err := broker.Open(t.Context(), broker.Config{URL: url})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(other.Close)
	publish(t, b, 3)
	var said atomic.Bool
	b.SetAstray(func(c *jetstream.ConsumerInfo, _ *jetstream.StreamInfo) bool {
		return c.Delivered.Stream == 3 && c.NumAckPending == 0 && said.CompareAndSwap(false, true)
	})
	work := broker.Work{Stream: schemas.StreamTests, Durable: "t", Workers: 1, Log: slog.New(slog.DiscardHandler)}
	ctx, cancel := context.WithCancel(t.Context())
	var times atomic.Int32
	done := make(chan error, 2)
	for _, x := range []*broker.Broker{b, other} {
		go func() {
			done <- x.Consume(ctx, work, func(context.Context, *broker.Delivery) error { times.Add(1); return nil })
		}()
	}
	for deadline := time.Now().Add(20 * time.Second); times.Load() < 6 && time.Now().Before(deadline); {
		time.Sleep(20 * time.Millisecond)
	}
	publish(t, b, 4)
	waitIdle(t, b, work)
	cancel()
	for range 2 {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	if n := times.Load(); n < 10 {
		t.Errorf("%d deliveries: three, the same three again, and four", n)
	}
}

func publish(t *testing.T, b *broker.Broker, n int) {
	t.Helper()
	for i := range n {
		if err := b.Publish(t.Context(), fmt.Sprintf("%s%d", schemas.SubjectParked, i), "", schemas.ParkedEvent{}); err != nil {
			t.Fatal(err)
		}
	}
}
