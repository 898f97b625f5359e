package chat

import (
	"testing"
	"time"
)

// TestAGateOpensAfterItsSpanWhateverTheClock: the clock is put back by a day
// while a channel is closed for a second; who asks again and again must see that
// second end.
func TestAGateOpensAfterItsSpanWhateverTheClock(t *testing.T) {
	now := time.Date(2026, 10, 6, 12, 0, 0, 0, time.UTC)
	g := gates{now: func() time.Time { return now }, each: make(map[string]*gate)}
	g.after(g.of("post staff"), time.Second)
	if d := g.pause("post staff"); d != time.Second {
		t.Fatalf("closed for %s, want a second", d)
	}
	now = now.Add(-24 * time.Hour)
	for _, want := range []time.Duration{time.Second, 600 * time.Millisecond, 200 * time.Millisecond, 0} {
		if d := g.pause("post staff"); d != want {
			t.Fatalf("closed for %s more, want %s", d, want)
		}
		now = now.Add(400 * time.Millisecond)
	}
}
