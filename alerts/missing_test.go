package alerts_test

import (
	"strings"
	"testing"
	"time"

	"canter.example/alerts/chat/chattest"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

func TestWhoIsMissingFromAPlannedTestIsToldOnceAfterItsTime(t *testing.T) {
	st := newStage(t)
	st.now = week(1)
	st.handle(st.test("AKF", 0, 80, 40, nil))
	st.handle(st.test("AKF", 1, 80, 40, nil))
	due := func(at time.Time) {
		t.Helper()
		st.now = at
		if err := st.s.Due(t.Context(), at); err != nil {
			t.Fatal(err)
		}
	}
	due(week(1).Add(2 * time.Hour))
	st.wantPosts(0)
	due(week(1).Add(3 * time.Hour))
	due(week(1).Add(4 * time.Hour))
	st.start()
	due(week(1).Add(5 * time.Hour))
	posts := st.wantPosts(1)
	if text := posts[0].Plain(); !strings.Contains(text, "Bo Lund") || strings.Contains(text, "Ana Kofi") {
		t.Errorf("the message should name Bo Lund alone:\n%s", text)
	}
}

// TestAReminderFollowsItsSession: who was missing stands in the session's
// message already, so the reminder answers it; once all have come it is taken
// back where it was said.
func TestAReminderFollowsItsSession(t *testing.T) {
	for _, c := range []struct {
		name     string
		sessions club.Telling
	}{
		{"a reminder answers the session's message", club.TellAll},
		{"without one it stands by itself", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			st := newStage(t)
			st.club.Chat.Sessions = c.sessions
			st.now = week(1).Add(time.Minute)
			st.handle(st.test("AKF", 1, 80, 40, nil))
			before := st.chatDone()
			st.now = week(1).Add(4 * time.Hour)
			if err := st.s.Due(t.Context(), st.now); err != nil {
				t.Fatal(err)
			}
			posts := st.chatDone()
			if len(posts) != len(before)+1 {
				t.Fatalf("%d messages, want one more than %d", len(posts), len(before))
			}
			reminder, root := posts[len(posts)-1], posts[0]
			if threaded := reminder.ThreadTS != ""; threaded != (len(before) == 1) || threaded && reminder.ThreadTS != root.TS {
				t.Errorf("the reminder is in thread %q, the session's message is %q", reminder.ThreadTS, root.TS)
			}
			st.now = st.now.Add(time.Hour)
			st.handle(st.test("BLO", 1, 80, 40, nil))
			posts = st.chatDone()
			var back []chattest.Post
			for _, p := range posts {
				if strings.Contains(p.Plain(), "the missing tests have arrived") {
					back = append(back, p)
				}
			}
			if len(back) != 1 || back[0].ThreadTS != root.TS {
				t.Errorf("taken back %d times, want once in the thread of %q: %+v", len(back), root.TS, back)
			}
			if open := st.alerts(schemas.AlertOpen); len(open) != 0 {
				t.Errorf("still open: %+v", open)
			}
			st.handle(st.test("BLO", 1, 81, 40, nil))
			if again := st.chatDone(); len(again) != len(posts) {
				t.Errorf("%d messages after the same test again, want %d", len(again), len(posts))
			}
		})
	}
}
