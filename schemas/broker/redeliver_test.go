package broker_test

import (
	"context"
	"log/slog"
	"sync/atomic"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/broker/brokertest"
)

// Work that takes several times as long as the broker waits for word is not
// given to a second worker: word is sent meanwhile.
func TestLongWorkIsNotGivenToASecondWorker(t *testing.T) {
	b, err := broker.Open(t.Context(), broker.Config{Dir: t.TempDir(), AckWait: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Close)
	if err := b.Publish(t.Context(), schemas.SubjectParked+"long", "", schemas.ParkedEvent{}); err != nil {
		t.Fatal(err)
	}
	work := broker.Work{Stream: schemas.StreamTests, Durable: "t", Workers: 3, Log: slog.New(slog.DiscardHandler)}
	var times atomic.Int32
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		done <- b.Consume(ctx, work, func(context.Context, *broker.Delivery) error {
			times.Add(1)
			time.Sleep(3500 * time.Millisecond)
			return nil
		})
	}()
	waitIdle(t, b, work)
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if n := times.Load(); n != 1 {
		t.Errorf("handed out %d times", n)
	}
}

func TestBackoffGrowsToAMinuteWithJitter(t *testing.T) {
	for tries := range 2000 {
		full := min(250*time.Millisecond<<min(max(tries-1, 0), 8), time.Minute)
		different := map[time.Duration]bool{}
		for range 20 {
			d := broker.Backoff(tries)
			if d < full/2 || d > full {
				t.Fatalf("after %d tries %s, want %s to %s", tries, d, full/2, full)
			}
			different[d] = true
		}
		if len(different) < 2 {
			t.Fatalf("after %d tries always the same wait: what failed together comes back together", tries)
		}
	}
}

// What a process had in hand when it was killed is handled at once when the
// embedded broker starts again, not after the half minute that the broker waits
// for word of others.
func TestAnEmbeddedRestartHandlesAtOnceWhatWasInHand(t *testing.T) {
	dir := t.TempDir()
	work := broker.Work{Stream: schemas.StreamTests, Durable: "t", Workers: 1, Log: slog.New(slog.DiscardHandler)}
	b, err := broker.Open(t.Context(), broker.Config{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Publish(t.Context(), schemas.SubjectParked+"held", "", schemas.ParkedEvent{}); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	taken := make(chan struct{})
	done := make(chan error, 1)
	go func() {
		done <- b.Consume(ctx, work, func(context.Context, *broker.Delivery) error {
			close(taken)
			<-ctx.Done()
			b.Close() // before the acknowledgement, as when the process dies
			return nil
		})
	}()
	<-taken
	cancel()
	<-done
	if b, err = broker.Open(t.Context(), broker.Config{Dir: dir}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Close)
	ctx, cancel = context.WithTimeout(t.Context(), 20*time.Second) // less than the half minute
	defer cancel()
	again := false
	if err := b.Consume(ctx, work, func(_ context.Context, d *broker.Delivery) error {
		again = d.Tries == 2
		cancel()
		return nil
	}); err != nil {
		t.Error(err)
	}
	if !again {
		t.Error("not handed out again")
	}
}

// Replicas are asked for on one process; the others leave them as they are.
func TestStreamsKeepTheirReplicas(t *testing.T) {
	url := brokertest.NATS(t)
	// One server alone refuses three, and says so.
	if b, err := broker.Open(t.Context(), broker.Config{URL: url, Replicas: 3}); err == nil {
		b.Close()
		t.Error("a server alone keeps three replicas?")
	}
	for range 2 {
		b, err := broker.Open(t.Context(), broker.Config{URL: url + "," + url})
		if err != nil {
			t.Fatal(err)
		}
		b.Close()
	}
}

// TestAfterARewindNothingIsTakenForADuplicate is a restored history whose
// service starts within the two minutes in which an id counts as known.
func TestAfterARewindNothingIsTakenForADuplicate(t *testing.T) {
	dir := t.TempDir()
	start := func() *broker.Broker {
		b, err := broker.Open(t.Context(), broker.Config{Dir: dir})
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	work := broker.Work{Stream: schemas.StreamTests, Durable: "d", Log: slog.New(slog.DiscardHandler)}
	publish := func(b *broker.Broker) {
		if err := b.Publish(t.Context(), schemas.SubjectTest+"a", "the same id", schemas.TestEvent{Athlete: "a"}); err != nil {
			t.Fatal(err)
		}
	}
	stored := func(b *broker.Broker) int {
		d, err := b.Depth(t.Context(), work)
		if err != nil {
			t.Fatal(err)
		}
		return d.Waiting
	}
	b := start()
	publish(b)
	publish(b)
	if n := stored(b); n != 1 {
		t.Fatalf("%d stored, want 1: the id was known", n)
	}
	if err := b.Rewind(t.Context(), work); err != nil {
		t.Fatal(err)
	}
	b.Close()
	time.Sleep(150 * time.Millisecond)
	b = start()
	defer b.Close()
	publish(b)
	publish(b)
	if n := stored(b); n != 2 {
		t.Errorf("%d stored after the rewind, want 2", n)
	}
}
