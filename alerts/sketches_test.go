package alerts

import (
	"context"
	"fmt"
	"testing"
	"testing/synctest"

	"canter.example/alerts/chat"
	"canter.example/schemas"
)

func TestPicturesAreDrawnAheadAndTakenOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var k sketches
		k.order(schemas.Message{ID: "nobody draws"})
		ctx, stop := context.WithCancel(t.Context())
		drawn, hold, ended := 0, make(chan struct{}), make(chan struct{})
		go func() {
			defer close(ended)
			k.run(ctx, func(_ context.Context, m *schemas.Message) []chat.Picture {
				<-hold
				drawn++
				return []chat.Picture{{Title: m.ID}}
			})
		}()
		synctest.Wait()
		for i := range 3 * aheadMost {
			k.order(schemas.Message{ID: fmt.Sprint(i)})
			k.order(schemas.Message{ID: fmt.Sprint(i)})
		}
		if _, ok := k.take(ctx, "nobody draws"); ok {
			t.Error("taken though nobody drew it")
		}
		impatient, give := context.WithCancel(ctx)
		give()
		if _, ok := k.take(impatient, "1"); ok {
			t.Error("taken before it was drawn")
		}
		go func() { hold <- struct{}{}; hold <- struct{}{} }()
		if p, ok := k.take(ctx, "1"); !ok || p[0].Title != "1" {
			t.Errorf("got %v, %v", p, ok)
		}
		if _, ok := k.take(ctx, "1"); ok {
			t.Error("taken twice")
		}
		// Those that nobody fetches make room.
		close(hold)
		synctest.Wait()
		k.order(schemas.Message{ID: "a"})
		k.order(schemas.Message{ID: "b"})
		synctest.Wait()
		if p, ok := k.take(ctx, "b"); !ok || p[0].Title != "b" {
			t.Errorf("got %v, %v", p, ok)
		}
		if _, ok := k.take(ctx, "0"); ok {
			t.Error("the oldest was kept when there was no room")
		}
		stop()
		<-ended
		if _, ok := k.take(t.Context(), "a"); ok {
			t.Error("taken after the end")
		}
		if len(k.drawn) > 0 || drawn < aheadMost {
			t.Errorf("%d left, %d drawn", len(k.drawn), drawn)
		}
	})
}

func TestWhoWaitsForAPictureAtTheEndIsLetGo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var k sketches
		ctx, stop := context.WithCancel(t.Context())
		go k.run(ctx, func(ctx context.Context, _ *schemas.Message) []chat.Picture { <-ctx.Done(); return nil })
		synctest.Wait()
		k.order(schemas.Message{ID: "first"})
		k.order(schemas.Message{ID: "second"})
		waited := make(chan bool, 2)
		for _, id := range []string{"first", "second"} {
			go func() { _, ok := k.take(context.Background(), id); waited <- ok }() //nolint:usetesting // it outlives the service's stop
		}
		synctest.Wait()
		stop()
		for range 2 {
			if <-waited {
				t.Error("got a picture that was never drawn")
			}
		}
	})
}
