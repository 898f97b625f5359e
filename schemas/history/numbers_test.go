package history

import (
	"context"
	"testing"
	"testing/synctest"
	"time"
)

// Few numbers are put by at a quiet time, more when they go quickly, and those that
// nobody takes are given back: what stays hidden is what was taken.
func TestNumbersArePutByAsTheyAreNeeded(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		hidden := map[uint64]int64{}
		p := numbers{hide: func(_ context.Context, hs []hiding) error {
			for _, h := range hs {
				if hidden[h.writeID] += h.hides; hidden[h.writeID] == 0 {
					delete(hidden, h.writeID)
				}
			}
			return nil
		}}
		taken := map[uint64]bool{}
		take := func(n, hiddenThen int) {
			t.Helper()
			first, err := p.take(t.Context(), n)
			if err != nil {
				t.Fatal(err)
			}
			for i := range uint64(n) {
				if taken[first+i] || hidden[first+i] != 1 {
					t.Errorf("%d was taken before, or is not hidden: %d", first+i, hidden[first+i])
				}
				taken[first+i] = true
			}
			if len(hidden) != hiddenThen {
				t.Errorf("%d taken, %d hidden, want %d", len(taken), len(hidden), hiddenThen)
			}
		}
		take(1, 16)
		take(15, 16)
		take(1, 16+32) // the sixteen went at once
		time.Sleep(30 * time.Second)
		take(31, 16+32)
		take(1, 16+32+16) // these lasted half a minute
		time.Sleep(idleFor + time.Second)
		synctest.Wait()
		if len(hidden) != len(taken) {
			t.Errorf("after a minute %d are hidden, want the %d taken", len(hidden), len(taken))
		}
		take(2, 49+16)
		take(20, 49+2+32) // more than are left: those are given back
		if err := p.giveBack(); err != nil || len(hidden) != len(taken) {
			t.Errorf("closed, %d are hidden, want the %d taken; %v", len(hidden), len(taken), err)
		}
	})
}
