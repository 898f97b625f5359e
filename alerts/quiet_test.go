package alerts

import (
	"cmp"
	"context"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

// TestHowLongASquadWaitsForQuiet: whoever is told gets the whole hold; a season
// that is loaded waits only while more of it comes.
func TestHowLongASquadWaitsForQuiet(t *testing.T) {
	now := time.Date(2026, 8, 17, 12, 0, 0, 0, time.UTC)
	const hold = 1500 * time.Millisecond
	const part = hold / holdParts
	over := 1 // the delivery at which growing parts have been the hold
	for waited := time.Duration(0); waited < hold; over++ {
		waited += min(firstPart<<(over-1), part)
	}
	recent, old := now.Add(-time.Hour), now.AddDate(-1, 0, 0)
	for _, c := range []struct {
		what          string
		protocol      string
		from, waiting time.Time
		now           bool
		tries         int
		blind, coming bool          // the process does not see all of the way; files are on it
		hold          time.Duration // 0 for the one above
		want          time.Duration
	}{
		{what: "a test of today", from: recent, waiting: now, tries: 1, want: hold},
		{what: "a test of today, come back", from: recent, waiting: now, tries: 2, coming: true, want: 0},
		{what: "a test of today that never got quiet", from: recent, waiting: now.Add(-longestHold * hold), tries: 1, want: 0},
		{what: "staff's word", from: recent, waiting: now, now: true, tries: 1, want: 0},
		{what: "an old test", from: old, waiting: now, tries: 1, want: firstPart},
		{what: "an old test, nothing coming", from: old, waiting: now, tries: 2, want: 0},
		{what: "an old test, more coming", from: old, waiting: now, tries: 2, coming: true, want: 2 * firstPart},
		{what: "an old test, more coming for a while", from: old, waiting: now, tries: 6, coming: true, want: part},
		{what: "an old test, more coming until the hold is nearly over", from: old, waiting: now, tries: over - 1, coming: true, want: part},
		{what: "an old test, more coming until the hold is over", from: old, waiting: now, tries: over, coming: true, want: 0},
		{what: "an old test, delivered again and again", from: old, waiting: now, tries: 1 << 30, coming: true, want: 0},
		{what: "an old test that never got quiet", from: old, waiting: now.Add(-longestLoad * hold), tries: 1, coming: true, want: 0},
		{what: "an old test in a role apart", from: old, waiting: now, tries: 1, blind: true, want: hold},
		{what: "an old test of a short hold", hold: 15 * time.Millisecond, from: old, waiting: now, tries: 1, want: time.Millisecond},
		{what: "an old test in a role apart, come back", from: old, waiting: now, tries: 2, blind: true, want: 0},
		{what: "old files that are parked, which staff are told", protocol: parkedFiles, from: old, waiting: now, tries: 1, want: hold},
	} {
		cfg := Config{Club: &club.Club{Thresholds: club.DefaultThresholds()}, Now: func() time.Time { return now }}
		cfg.Club.Chat.Hold = cmp.Or(c.hold, hold)
		if !c.blind {
			cfg.Coming = func(context.Context) bool { return c.coming }
		}
		s := New(cfg, nil, nil)
		e := schemas.SquadEvent{Squad: "first", Protocol: c.protocol, From: c.from, Waiting: c.waiting, Now: c.now}
		if got := s.untilQuiet(t.Context(), e, c.tries); got != c.want {
			t.Errorf("%s: waits %s, want %s", c.what, got, c.want)
		}
	}
}
