package scorer

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// TestThoseWhoReadTheSameAtOnceReadItOnce: a hundred store something and look; a look
// takes a second. The first reads, the others share the next one.
func TestThoseWhoReadTheSameAtOnceReadItOnce(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var stored, looks atomic.Int64
		r := newReading(func(_ context.Context, what string) (int64, error) {
			looks.Add(1)
			n := stored.Load()
			time.Sleep(time.Second)
			return n, nil
		})
		for _, wait := range []time.Duration{0, 500 * time.Millisecond, 1200 * time.Millisecond, 10 * time.Second} {
			var wg sync.WaitGroup
			looks.Store(0)
			for range 100 {
				after := wait
				wg.Go(func() {
					time.Sleep(after)
					mine := stored.Add(1)
					if n, err := r.of(t.Context(), "a session"); err != nil || n < mine {
						t.Errorf("%d, %v: what was stored before, %d, is not among it", n, err, mine)
					}
				})
				wait -= wait / 7 // at several times within the looks
			}
			wg.Wait()
			if n := looks.Load(); n > 12 {
				t.Errorf("%d looks for 100", n)
			}
		}
	})
}

// TestALookThatFailsIsNotShared: whoever read for all was called off; others read for
// themselves, and who has no time waits for nobody.
func TestALookThatFailsIsNotShared(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		r := newReading(func(ctx context.Context, what string) (string, error) {
			select {
			case <-ctx.Done():
				return "", ctx.Err()
			case <-time.After(time.Second):
				return what, nil
			}
		})
		called, off := context.WithCancel(t.Context())
		short, end := context.WithTimeout(t.Context(), time.Second/4)
		defer end()
		var wg sync.WaitGroup
		for i, ctx := range []context.Context{called, called, t.Context(), short} {
			time.Sleep(time.Millisecond) // the second leads those after it
			wg.Go(func() {
				got, err := r.of(ctx, "a session")
				switch {
				case ctx == t.Context() && (got != "a session" || err != nil):
					t.Errorf("%d: %q, %v", i, got, err)
				case ctx == called && !errors.Is(err, context.Canceled), ctx == short && !errors.Is(err, context.DeadlineExceeded):
					t.Errorf("%d: %v", i, err)
				}
			})
		}
		time.Sleep(time.Second / 2)
		off()
		wg.Wait()
		if len(r.next)+len(r.busy) > 0 {
			t.Error("something is left of looks that are over")
		}
	})
}
