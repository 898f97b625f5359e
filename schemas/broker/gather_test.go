package broker_test

import (
	"context"
	"log/slog"
	"sync"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
)

// TestGatheredEventsAreWorkedOnceWithAllThatTheyAskFor: many publishers, a
// consumer that holds each event back: the last event has the work of all, and
// what it replaced is not worked.
func TestGatheredEventsAreWorkedOnceWithAllThatTheyAskFor(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		day := time.Date(2026, 8, 17, 0, 0, 0, 0, time.UTC)
		work := broker.Work{Stream: schemas.StreamSquads, Durable: "squads", Workers: 4, Log: slog.New(slog.DiscardHandler)}
		ctx, stop := context.WithCancel(t.Context())
		var mu sync.Mutex
		var got []schemas.SquadEvent
		var versions []schemas.Version
		done := make(chan error, 1)
		go func() {
			done <- b.Consume(ctx, work, func(_ context.Context, d *broker.Delivery) error {
				if d.Tries == 1 {
					return broker.Hold(150 * time.Millisecond)
				}
				var e schemas.SquadEvent
				if err := schemas.DecodeEvent(d.Data, &e); err != nil {
					return err
				}
				mu.Lock()
				defer mu.Unlock()
				got, versions = append(got, e), append(versions, d.Version)
				return nil
			})
		}()
		publish := func(from, n int) {
			var wg sync.WaitGroup
			for i := range n {
				wg.Go(func() {
					if err := b.Gather(t.Context(), schemas.SubjectSquad+"x", func(w *schemas.SquadEvent) schemas.SquadEvent {
						e := schemas.SquadEvent{Squad: "first", Protocol: "p", From: day.AddDate(0, 0, from+i)}
						if w != nil && w.From.Before(e.From) {
							e.From = w.From
						}
						return e
					}); err != nil {
						t.Error(err)
					}
				})
			}
			wg.Wait()
		}
		idle := func() {
			for start := time.Now(); ; time.Sleep(5 * time.Millisecond) {
				is, err := b.Idle(t.Context(), work)
				if err != nil {
					t.Fatal(err)
				}
				if is {
					return
				}
				if time.Since(start) > 20*time.Second {
					t.Fatal("never idle")
				}
			}
		}
		publish(0, 20)
		idle()
		publish(100, 5)
		idle()
		stop()
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		if len(got) < 2 || len(got) > 6 {
			t.Fatalf("%d events worked, want 2 or a few more", len(got))
		}
		if !got[0].From.Equal(day) {
			t.Errorf("the first is from %s, want %s", got[0].From, day)
		}
		if last := got[len(got)-1]; !last.From.Equal(day.AddDate(0, 0, 100)) {
			t.Errorf("the last is from %s: done work came back", last.From)
		}
		for i := 1; i < len(versions); i++ {
			if versions[i] <= versions[i-1] {
				t.Errorf("version %d after %d", versions[i], versions[i-1])
			}
		}
	})
}
