package alerts_test

import (
	"context"
	"strings"
	"sync"
	"testing"
	"time"

	"canter.example/schemas/history"
)

// due looks for what is due at an instant, by as many processes at once.
func (st *stage) due(at time.Time, processes int) {
	st.t.Helper()
	st.now = at
	var wg sync.WaitGroup
	for range processes {
		wg.Go(func() {
			if err := st.s.Due(st.t.Context(), at); err != nil {
				st.t.Error(err)
			}
		})
	}
	wg.Wait()
}

func TestADigestIsToldOnceByManyAndOnceOnReturn(t *testing.T) {
	st := squadOf(t, 6)
	st.club.Digest.Weekly, st.club.Planned = "0 7 * * MON", nil
	st.season(6) // the last test is that of Monday 21 Sep
	// Down over the Monday after, back on Wednesday, with three processes.
	back := week(6).AddDate(0, 0, 2)
	st.due(back, 3)
	posts := st.wantPosts(1)
	if text := posts[0].Plain(); !strings.Contains(text, "First team, week 21 to 27 Sep 2026") || !strings.Contains(text, "Tested: 6 of 6 in 1 session") || !strings.Contains(text, "medical") {
		t.Errorf("the digest:\n%s", text)
	}
	st.start()
	st.due(back.Add(time.Hour), 2)
	st.wantPosts(1)
	// Nothing happened in the week after: nothing is told.
	st.due(week(7).Add(time.Hour), 1)
	st.wantPosts(1)
}

// TestAMonthIsToldOnce, on its first morning, though the clocks went back in it.
func TestAMonthIsToldOnce(t *testing.T) {
	st := squadOf(t, 6)
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	st.club.Zone, st.club.Planned, st.club.Digest.Weekly, st.club.Digest.Monthly = berlin, nil, "", "30 2 1 * *"
	st.season(11) // the last test is that of Monday 26 Oct, the day after the clocks went back
	night := time.Date(2026, 11, 1, 0, 0, 0, 0, berlin)
	st.due(night.Add(149*time.Minute), 2)
	st.wantPosts(0)
	for _, after := range []time.Duration{150 * time.Minute, 151 * time.Minute, 7 * time.Hour, 20 * 24 * time.Hour} {
		st.due(night.Add(after), 3)
	}
	posts := st.wantPosts(1)
	if text := posts[0].Plain(); !strings.Contains(text, "First team, month 1 to 31 Oct 2026") || !strings.Contains(text, "in 4 sessions") || !strings.Contains(text, "Own typical error of HRex") || !strings.Contains(text, "Data quality") {
		t.Errorf("the digest:\n%s", text)
	}
}

func TestWhenNobodyIsMissingTheChannelIsToldSoIfWanted(t *testing.T) {
	st := squadOf(t, 3)
	st.season(6)
	st.play(6, upTo(3), nil)
	before := len(st.wantPosts(1))
	st.club.Planned[0].SayAllHere = true
	for range 2 {
		st.due(week(6).Add(3*time.Hour), 2)
	}
	posts := st.wantPosts(before + 1)
	if last := posts[len(posts)-1]; !strings.Contains(last.Plain(), "All here: 3 athletes of First team") {
		t.Errorf("told:\n%s", last.Plain())
	}
}

func TestWhatIsOlderThanTheClubKeepsGoesAtNight(t *testing.T) {
	st := squadOf(t, 2)
	st.club.Planned = nil
	st.season(6)
	st.club.Privacy.KeepHistory = 21 * 24 * time.Hour
	night := time.Date(2026, 9, 24, 3, 31, 0, 0, time.UTC)
	st.due(night, 1)
	tests, err := st.history.SquadTests(t.Context(), "first", "weekly", time.Time{}, time.Time{})
	if err != nil || len(tests) != 6 { // those of 7, 14 and 21 Sep
		t.Errorf("%d tests left, %v", len(tests), err)
	}
	if done, err := st.history.SlotDone(t.Context(), "retention", "2026-09-24T03:30"); err != nil || !done {
		t.Errorf("the night is not marked: %v", err)
	}
}

// tidied counts how often a history is put in order.
type tidied struct {
	history.Store
	times *int
}

func (h tidied) Tidy(ctx context.Context) error {
	*h.times++
	return h.Store.Tidy(ctx)
}

func TestTheHistoryIsPutInOrderOnceANight(t *testing.T) {
	st := squadOf(t, 2)
	st.club.Planned = nil
	var times int
	st.history = tidied{st.history, &times}
	st.start()
	night := time.Date(2026, 9, 24, 3, 59, 0, 0, time.UTC)
	for _, at := range []struct {
		after time.Duration
		times int
	}{{0, 0}, {time.Minute, 1}, {time.Hour, 1}, {24 * time.Hour, 1}, {25 * time.Hour, 2}} {
		st.due(night.Add(at.after), 1)
		if times != at.times {
			t.Errorf("%s after: %d times, want %d", at.after, times, at.times)
		}
	}
}
