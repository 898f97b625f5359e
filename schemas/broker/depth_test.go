package broker_test

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
)

func TestDepthIsWhatIsLeftToDo(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		w := broker.Work{Stream: schemas.StreamTests, Durable: "depth", Workers: 1, Log: slog.New(slog.DiscardHandler)}
		depth := func() broker.Depth {
			t.Helper()
			d, err := b.Depth(t.Context(), w)
			if err != nil {
				t.Fatal(err)
			}
			return d
		}
		if d := depth(); d != (broker.Depth{}) {
			t.Errorf("empty, never consumed: %+v", d)
		}
		begin := time.Now().Add(-time.Second)
		for _, id := range []string{"a", "b", "c"} {
			if err := b.Publish(t.Context(), schemas.SubjectTest+id, id, schemas.TestEvent{Athlete: id}); err != nil {
				t.Fatal(err)
			}
		}
		if d := depth(); d.Waiting != 3 || d.InHand != 0 || d.Oldest.Before(begin) {
			t.Errorf("three published, never consumed: %+v", d)
		}
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		working, goOn := make(chan string), make(chan struct{})
		done := make(chan error)
		go func() {
			done <- b.Consume(ctx, w, func(_ context.Context, d *broker.Delivery) error {
				working <- d.Subject
				<-goOn
				return nil
			})
		}()
		<-working
		if d := depth(); d.Waiting+d.InHand != 3 || d.InHand < 1 || d.Oldest.Before(begin) {
			t.Errorf("one being worked on: %+v", d)
		}
		for range 2 {
			goOn <- struct{}{}
			<-working
		}
		goOn <- struct{}{}
		for deadline := time.Now().Add(10 * time.Second); depth() != (broker.Depth{}); {
			if time.Now().After(deadline) {
				t.Fatalf("all done: %+v", depth())
			}
			time.Sleep(time.Millisecond)
		}
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}
