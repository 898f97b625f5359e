package alerts_test

import (
	"fmt"
	"math/rand/v2"
	"sort"
	"strings"
	"testing"
	"time"

	"canter.example/alerts/chat/chattest"
	"canter.example/schemas"
	"canter.example/schemas/history"
	"pgregory.net/rapid"
)

// arrival is one write of a test, as files come in: first, again, or left out
// and restored by staff.
type arrival struct {
	athlete string
	week    int
	exclude bool
}

const (
	orderAthletes = 6
	orderWeeks    = 7
)

// numbers are those of an athlete's test: one is ill in week 5, all are hot in
// week 6.
func numbers(athlete, week int) (hrex, hrr float64) {
	rng := rand.New(rand.NewPCG(uint64(athlete), uint64(week))) //nolint:gosec // a test's data
	hrex, hrr = 76+float64(athlete)+rng.NormFloat64(), 40+3*rng.NormFloat64()
	if athlete == 2 && week == 5 {
		hrex, hrr = hrex+7, hrr-14
	}
	if week == 6 {
		hrex += 4.5
	}
	return hrex, hrr
}

// played plays arrivals and returns what history holds in the end.
func played(t *testing.T, arrivals []arrival) string {
	st := newStage(t)
	st.now = week(orderWeeks)
	st.club.Athletes = nil
	for i := range orderAthletes {
		st.club.Athletes = append(st.club.Athletes, schemas.Athlete{ID: fmt.Sprint("a", i), Name: fmt.Sprint("Athlete ", i), Squads: []schemas.Membership{{Squad: "first"}}})
	}
	var ids []schemas.TestID
	for n, a := range arrivals {
		var i int
		_, _ = fmt.Sscanf(a.athlete, "a%d", &i)
		hrex, hrr := numbers(i, a.week)
		d := st.test(a.athlete, a.week, hrex, hrr, func(o *schemas.Outcome) {
			if a.exclude {
				o.Staff = schemas.Excluded
			}
		})
		if err := st.s.Handle(t.Context(), d); err != nil {
			t.Fatal(err)
		}
		if n%5 == 0 { // squads are gone through now and then, between arrivals
			st.squadsDone()
		}
	}
	st.squadsDone()
	for i := range orderAthletes {
		for w := range orderWeeks {
			ids = append(ids, schemas.NewTestID(schemas.NewFileID(fmt.Append(nil, fmt.Sprint("a", i), w)), "", "weekly", 0))
		}
	}
	var lines []string
	for _, id := range ids {
		a, ok, err := st.history.Assessment(t.Context(), id)
		if err != nil || !ok {
			t.Fatal(id, ok, err)
		}
		a.Version = 0
		lines = append(lines, fmt.Sprintf("%+v", a))
	}
	all, err := st.history.Alerts(t.Context(), history.AlertFilter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, al := range all {
		if al.State != schemas.AlertWithdrawn {
			lines = append(lines, fmt.Sprint(al.ID, al.Rule, al.State, al.Told, al.Text))
		}
	}
	sort.Strings(lines)
	return strings.Join(lines, "\n")
}

// TestWhateverTheOrderOfArrivalTheEndIsTheSame: files in any order, twice, left
// out and restored in between, against the real history and broker.
func TestWhateverTheOrderOfArrivalTheEndIsTheSame(t *testing.T) {
	var inOrder []arrival
	for w := range orderWeeks {
		for i := range orderAthletes {
			inOrder = append(inOrder, arrival{athlete: fmt.Sprint("a", i), week: w})
		}
	}
	want := played(t, inOrder)
	for _, must := range []string{string(schemas.RuleBoth), string(schemas.RuleSquadEffect)} {
		if !strings.Contains(want, must) {
			t.Fatalf("the story makes no %s:\n%s", must, want)
		}
	}
	began, n := time.Now(), 0
	rapid.Check(t, func(rt *rapid.T) {
		if time.Since(began) > 12*time.Second && n >= 3 {
			return // each play takes a second; three or more orders a run
		}
		n++
		order := rapid.Permutation(inOrder).Draw(rt, "order")
		extra := rapid.SliceOfN(rapid.IntRange(0, len(order)-1), 0, 8).Draw(rt, "again")
		for _, i := range extra {
			again := order[i]
			again.exclude = rapid.Bool().Draw(rt, "excluded")
			order = append(order, again)
			if again.exclude {
				again.exclude = false
				order = append(order, again)
			}
		}
		if got := played(t, order); got != want {
			g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
			for i := range min(len(g), len(w)) {
				if g[i] != w[i] {
					rt.Fatalf("%d and %d lines; the first that differs:\n%s\nwant:\n%s", len(g), len(w), g[i], w[i])
				}
			}
			rt.Fatalf("%d lines, want %d", len(g), len(w))
		}
	})
}

// TestAHotDayIsOneMessageForAllAndFewForIndividuals: the files of one session
// come one by one; staff hear of it once it is quiet, in two messages at most.
func TestAHotDayIsOneMessageForAllAndFewForIndividuals(t *testing.T) {
	st := newStage(t)
	st.club.Chat.Hold = 200 * time.Millisecond
	st.now = week(8)
	rng := rand.New(rand.NewPCG(7, 7)) //nolint:gosec // a test's data
	for w := range 9 {
		for i := range 20 {
			hot := 0.0
			if w == 8 {
				hot = 4
				if i == 3 {
					hot = 10 // this one stands out even so
				}
			}
			d := st.test(fmt.Sprint("a", i), w, 74+float64(i)/4+1.2*rng.NormFloat64()+hot, 40+1.5*rng.NormFloat64(), nil)
			if err := st.s.Handle(t.Context(), d); err != nil {
				t.Fatal(err)
			}
		}
		st.squadsDone()
	}
	var today []chattest.Post
	for _, p := range st.wantPosts(len(st.chatDone()) - st.details()) {
		if strings.Contains(p.Plain(), week(8).Format("Mon 2 Jan")) {
			today = append(today, p)
		}
	}
	if len(today) != 1 {
		t.Fatalf("%d messages about the hot day, want one:\n%+v", len(today), today)
	}
	if text := today[0].Plain(); !strings.Contains(text, "1. Whole squad: HRex higher") || !strings.Contains(text, "2. a3: ") || strings.Contains(text, "a4: ") {
		t.Errorf("the session's message:\n%s", text)
	}
	// A file that comes late is told by itself, not with what staff know; what
	// was said of the session is brought up to date.
	posts := st.chatDone()
	d := st.test("a19", 8, 74+19.0/4+11, 18, nil)
	if err := st.s.Handle(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	st.squadsDone()
	after := st.chatDone()[len(posts):]
	if len(after) != 2 || !strings.Contains(after[0].Plain(), "1 more athlete to look at") || strings.Contains(after[0].Plain(), "a3:") || after[1].ThreadTS != after[0].TS {
		t.Errorf("after a late file:\n%+v", after)
	}
}
