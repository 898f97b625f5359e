package alerts_test

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"canter.example/alerts"
	"canter.example/alerts/chat"
	"canter.example/alerts/chat/chattest"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var monday = time.Date(2026, 8, 17, 9, 0, 0, 0, time.UTC)

// week is the time of the test in week n.
func week(n int) time.Time { return monday.AddDate(0, 0, 7*n) }

// stage is the alerts stage with a real broker, history and chat client.
type stage struct {
	t       *testing.T
	broker  *broker.Broker
	history history.Store
	chat    *chattest.Server
	club    *club.Club
	now     time.Time
	version uint64
	s       *alerts.Service
	// lost makes the next so many publishes fail, as when the process dies
	// between storing and publishing.
	// lostAfter lets so many pass first.
	lost, lostAfter int
}

// loses tells whether this publish is to be lost.
func (st *stage) loses() bool {
	if st.lost == 0 {
		return false
	}
	if st.lostAfter > 0 {
		st.lostAfter--
		return false
	}
	st.lost--
	return true
}

// Publish passes events on, unless they are to be lost.
func (st *stage) Publish(ctx context.Context, subject, id string, event any) error {
	if st.loses() {
		return fmt.Errorf("lost on purpose")
	}
	return st.broker.Publish(ctx, subject, id, event)
}

// Gather passes on what a squad's event gathers, unless it is to be lost.
func (st *stage) Gather(ctx context.Context, subject string, merge func(*schemas.SquadEvent) schemas.SquadEvent) error {
	if st.loses() {
		return fmt.Errorf("lost on purpose")
	}
	return st.broker.Gather(ctx, subject, merge)
}

// Consume consumes from the real broker.
func (st *stage) Consume(ctx context.Context, w broker.Work, h broker.Handler) error {
	return st.broker.Consume(ctx, w, h)
}

func newStage(t *testing.T) *stage {
	t.Helper()
	b, err := broker.Open(t.Context(), broker.Config{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	h, err := history.Open(t.Context(), filepath.Join(t.TempDir(), "history.db"))
	if err != nil {
		t.Fatal(err)
	}
	server := chattest.Start(chattest.Options{})
	server.AddChannel(chattest.Channel{Name: "first-team", Member: true})
	st := &stage{t: t, broker: b, history: h, chat: server, now: week(20)}
	t.Cleanup(func() { server.Close(); _ = h.Close(); b.Close() })
	th := club.DefaultThresholds()
	p := club.DefaultProtocol("weekly", 4*time.Minute)
	st.club = &club.Club{
		Name: "Example", Zone: time.UTC, Thresholds: th, Protocols: []schemas.Protocol{p},
		Squads:   []club.Squad{{ID: "first", Name: "First team", Channel: "first-team"}},
		Athletes: []schemas.Athlete{{ID: "AKF", Name: "Ana Kofi", Squads: []schemas.Membership{{Squad: "first"}}}, {ID: "BLO", Name: "Bo Lund", Squads: []schemas.Membership{{Squad: "first"}}}},
		Privacy:  club.Privacy{ChatNames: club.ShowName},
		Chat:     club.Chat{Kind: club.ChatSlack, Channel: "first-team"},
		Planned:  []club.Planned{{ID: "tue", Squad: "first", Protocol: "weekly", Cron: "0 9 * * 1", Within: 20 * time.Minute, RemindAfter: 3 * time.Hour}},
	}
	st.start()
	return st
}

// start makes the service anew, as after a crash: nothing but broker, history
// and chat remembers anything.
func (st *stage) start() { st.startWith(time.Microsecond, time.Millisecond) }

func (st *stage) startWith(pace, maxWait time.Duration) {
	slackChat := chat.NewSlack(chat.SlackConfig{
		Token: chattest.Token, APIURL: st.chat.URL(), HTTP: st.chat.Client(), Pace: pace, MaxWait: maxWait,
		Reference: func(ctx context.Context, id string) (string, error) {
			m, _, err := st.history.Message(ctx, id)
			return m.Reference, err
		},
	})
	st.s = alerts.New(alerts.Config{Club: st.club, Chat: slackChat, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return st.now }}, st, st.history)
}

// test stores a test of an athlete in week n and returns the event of it.
func (st *stage) test(athlete string, n int, hrexPct, hrr float64, change func(*schemas.Outcome)) *broker.Delivery {
	st.t.Helper()
	st.version++
	file := schemas.NewFileID(fmt.Append(nil, athlete, n))
	o := schemas.Outcome{
		TestID: schemas.NewTestID(file, "", "weekly", 0), FileID: file, Athlete: athlete, Squad: "first",
		Protocol: "weekly", ProtocolVersion: st.club.Protocols[0].Version, Session: schemas.SessionID("first", "weekly", week(n).Format(time.DateOnly)),
		Start: week(n), StartSource: schemas.StartByPlan, StartConfidence: 0.99, Duration: 4 * time.Minute,
		HRexBPM: schemas.Num(2 * hrexPct), HRexPct: schemas.Num(hrexPct), HRmax: schemas.HRmax{BPM: schemas.Num(200), Source: schemas.HRmaxMeasured},
		EndHR:    schemas.Num(2*hrexPct + 1),
		Recovery: []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(hrr), Coverage: 1}},
		Coverage: 1, Quality: schemas.Good, ScorerVersion: 1, Version: schemas.Version(st.version),
	}
	if change != nil {
		change(&o)
	}
	f := schemas.File{ID: file, Origin: schemas.Origin{Path: athlete + ".fit", Seen: week(n)}, State: schemas.FileScored, Tests: 1, Traces: 1, Version: schemas.Version(st.version)}
	known, err := st.history.Known(st.t.Context(), file)
	if err != nil {
		st.t.Fatal(err)
	}
	if err := st.history.SaveFile(st.t.Context(), f, []schemas.Outcome{o}, nil); err != nil {
		st.t.Fatal(err)
	}
	e := schemas.TestEvent{File: file, Athlete: athlete, Tests: []schemas.TestID{o.TestID}, First: !known}
	if e.First {
		e.Places = []schemas.Place{{Squad: o.Squad, Protocol: o.Protocol, From: o.Start}}
	}
	return st.event(e)
}

func (st *stage) event(e schemas.TestEvent) *broker.Delivery {
	st.t.Helper()
	b, err := schemas.EncodeEvent(e)
	if err != nil {
		st.t.Fatal(err)
	}
	return &broker.Delivery{Subject: schemas.SubjectTest + "x", Data: b, Version: schemas.Version(st.version), Tries: 1}
}

// note is the event of a note.
func (st *stage) note(n schemas.Note) *broker.Delivery {
	st.t.Helper()
	b, err := schemas.EncodeEvent(n)
	if err != nil {
		st.t.Fatal(err)
	}
	st.version++
	return &broker.Delivery{Subject: schemas.SubjectNote + n.AlertID, Data: b, Version: schemas.Version(st.version), Tries: 1}
}

// handle does the work of an event, and goes through the squads it asks for.
func (st *stage) handle(d *broker.Delivery) {
	st.t.Helper()
	if err := st.s.Handle(st.t.Context(), d); err != nil {
		st.t.Fatal(err)
	}
	st.squadsDone()
}

// squadsDone goes through all squads that were asked for.
func (st *stage) squadsDone() {
	st.t.Helper()
	st.work(alerts.WorkSquads(1, slog.New(slog.DiscardHandler)), st.s.OnSquad)
}

// work consumes until nothing is left.
func (st *stage) work(w broker.Work, h broker.Handler) {
	st.t.Helper()
	ctx, cancel := context.WithTimeout(st.t.Context(), 20*time.Second)
	defer cancel()
	done := make(chan error, 1)
	cctx, stop := context.WithCancel(ctx)
	go func() { done <- st.broker.Consume(cctx, w, h) }()
	for {
		idle, err := st.broker.Idle(ctx, w)
		if err != nil {
			st.t.Fatal(err)
		}
		if idle {
			break
		}
		time.Sleep(time.Millisecond)
	}
	stop()
	if err := <-done; err != nil {
		st.t.Fatal(err)
	}
}

// chatDone sends all that is queued, and what waits for its channel.
func (st *stage) chatDone() []chattest.Post {
	st.t.Helper()
	for {
		st.work(alerts.WorkChat(slog.New(slog.DiscardHandler)), st.s.Send)
		idle, err := st.broker.Idle(st.t.Context(), alerts.WorkSquads(1, slog.New(slog.DiscardHandler)))
		if err != nil {
			st.t.Fatal(err)
		}
		if idle {
			return st.chat.Posted()
		}
		st.squadsDone()
	}
}

// steady gives an athlete six unremarkable weeks.
func (st *stage) steady(athlete string) {
	for n, d := range []float64{0, 0.6, -0.5, 0.2, -0.3, 0.4} {
		st.handle(st.test(athlete, n, 80+d, 40-2*d, nil))
	}
}

func (st *stage) alerts(state schemas.AlertState) []schemas.Alert {
	st.t.Helper()
	as, err := st.history.Alerts(st.t.Context(), history.AlertFilter{State: state})
	if err != nil {
		st.t.Fatal(err)
	}
	return as
}

// details counts answers that only give the details of what another message told.
func (st *stage) details() (n int) {
	st.t.Helper()
	all, err := st.history.Messages(st.t.Context(), "")
	if err != nil {
		st.t.Fatal(err)
	}
	for _, m := range all {
		if len(m.Says) > 0 && m.Says[0].Turn == schemas.TurnDetail {
			n++
		}
	}
	return n
}

// wantPosts fails unless chat has so many messages, answers that only give the
// details of what another told not counted; it returns the counted ones.
func (st *stage) wantPosts(n int) []chattest.Post {
	st.t.Helper()
	var posts []chattest.Post
	for _, p := range st.chatDone() {
		id := p.ID
		if len(p.Files) > 0 {
			id, _, _ = strings.Cut(p.Files[0].Name, "-") // a file bears no metadata
		}
		m, ok, err := st.history.Message(st.t.Context(), id)
		if err != nil || !ok {
			st.t.Fatalf("message %s of chat is not in the outbox (%v)", p.ID, err)
		}
		if len(m.Says) == 0 || m.Says[0].Turn != schemas.TurnDetail {
			posts = append(posts, p)
		}
	}
	if len(posts) != n {
		for _, p := range posts {
			st.t.Logf("posted:\n%s", p.Plain())
		}
		st.t.Fatalf("%d messages in chat, want %d", len(posts), n)
	}
	return posts
}

func TestAnUnremarkableTestIsAssessedAndNotTold(t *testing.T) {
	st := newStage(t)
	st.now = week(6)
	st.steady("AKF")
	st.wantPosts(0)
	a, ok, err := st.history.Assessment(t.Context(), schemas.NewTestID(schemas.NewFileID(fmt.Append(nil, "AKF", 5)), "", "weekly", 0))
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	c := a.Comparison(schemas.MeasureHRex, 0)
	if c == nil || c.N != 5 || c.State != schemas.Inside {
		t.Errorf("comparison %+v", c)
	}
}

func TestARiseIsToldOnceHoweverOftenItsEventComes(t *testing.T) {
	st := newStage(t)
	st.now = week(6).Add(time.Hour)
	st.steady("AKF")
	d := st.test("AKF", 6, 86, 26, nil)
	st.handle(d)
	st.handle(d)
	st.start()
	st.handle(d)
	posts := st.wantPosts(1)
	text := posts[0].Plain()
	for _, want := range []string{"Ana Kofi", "HRex", "medical"} {
		if !strings.Contains(text, want) {
			t.Errorf("the message lacks %q:\n%s", want, text)
		}
	}
	if as := st.alerts(schemas.AlertOpen); len(as) != 1 || as[0].Rule != schemas.RuleBoth || !as[0].Told {
		t.Errorf("alerts %+v", as)
	}
}

func TestAProcessThatDiesBetweenStoringAndQueueingLosesNoMessage(t *testing.T) {
	// On the way to the squad, to the session, and to the message.
	for step := range 3 {
		t.Run(fmt.Sprint("publish ", step), func(t *testing.T) {
			st := newStage(t)
			st.now = week(6).Add(time.Hour)
			st.steady("AKF")
			d := st.test("AKF", 6, 86, 26, nil)
			st.lostAfter, st.lost = step, 1
			if err := st.s.Handle(t.Context(), d); (err != nil) != (step == 0) {
				t.Fatalf("publish lost at step %d: %v", step, err)
			}
			st.squadsDone()
			st.chatDone()
			if st.lost > 0 && step > 0 {
				t.Fatal("nothing was lost: the way is shorter than this test believes")
			}
			st.start()
			st.handle(d)
			st.wantPosts(1)
		})
	}
}

func TestAMessageThatWentOutBeforeTheProcessDiedIsNotSentAgain(t *testing.T) {
	st := newStage(t)
	st.now = week(6).Add(time.Hour)
	st.steady("AKF")
	st.handle(st.test("AKF", 6, 86, 26, nil))
	st.wantPosts(1)
	before := len(st.chat.Posted())
	// Turn the clock back to just before the process wrote down that it sent:
	// a history in which the attempts are on record and their results are not.
	fresh := newStage(t)
	fresh.chat, fresh.now = st.chat, st.now
	fresh.start()
	sent, err := st.history.Messages(t.Context(), "")
	if err != nil || len(sent) != before {
		t.Fatalf("%d messages in the outbox, %d in chat, %v", len(sent), before, err)
	}
	for _, m := range sent {
		m.State, m.Reference, m.Sent, m.Attempts = schemas.MessagePending, "", time.Time{}, 1
		if err := fresh.history.SaveMessage(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		if err := fresh.broker.Publish(t.Context(), schemas.SubjectChat+m.ID, m.ID, schemas.ChatEvent{Message: m.ID}); err != nil {
			t.Fatal(err)
		}
	}
	fresh.wantPosts(1)
	if n := len(st.chat.Posted()); n != before {
		t.Errorf("%d messages in chat, want the %d of before", n, before)
	}
	for _, m := range sent {
		again, _, err := fresh.history.Message(t.Context(), m.ID)
		if err != nil || again.State != schemas.MessageSent || again.Reference == "" {
			t.Errorf("message %+v, %v", again, err)
		}
	}
}

func TestAnExcludedTestHasItsAlertWithdrawnInTheThread(t *testing.T) {
	st := newStage(t)
	st.now = week(6).Add(time.Hour)
	st.steady("AKF")
	st.handle(st.test("AKF", 6, 86, 26, nil))
	st.wantPosts(1)
	st.handle(st.test("AKF", 6, 86, 26, func(o *schemas.Outcome) { o.Staff = schemas.Excluded }))
	posts := st.wantPosts(2)
	if posts[1].ThreadTS != posts[0].TS || !strings.Contains(posts[1].Plain(), "left the test out") {
		t.Errorf("answer in thread %q (want %q):\n%s", posts[1].ThreadTS, posts[0].TS, posts[1].Plain())
	}
	if len(st.alerts(schemas.AlertWithdrawn)) != 1 {
		t.Error("the alert is not withdrawn")
	}
	st.handle(st.test("AKF", 6, 86, 26, nil)) // restored
	posts = st.wantPosts(3)
	if posts[2].ThreadTS != posts[0].TS {
		t.Error("that it holds after all is not said in the thread")
	}
	if len(st.alerts(schemas.AlertOpen)) != 1 {
		t.Error("the alert is not open again")
	}
}

func TestATestThatIsGoneTakesItsAlertWithIt(t *testing.T) {
	st := newStage(t)
	st.now = week(6).Add(time.Hour)
	st.steady("AKF")
	st.handle(st.test("AKF", 6, 86, 26, nil))
	st.wantPosts(1)
	file := schemas.NewFileID(fmt.Append(nil, "AKF", 6))
	gone := schemas.NewTestID(file, "", "weekly", 0)
	st.version++
	if err := st.history.SaveFile(t.Context(), schemas.File{ID: file, State: schemas.FileTraining, Version: schemas.Version(st.version)}, nil, nil); err != nil {
		t.Fatal(err)
	}
	st.handle(st.event(schemas.TestEvent{File: file, Athlete: "AKF", Gone: []schemas.TestID{gone}}))
	st.wantPosts(2)
	if len(st.alerts(schemas.AlertWithdrawn)) != 1 {
		t.Error("the alert is not withdrawn")
	}
}

// TestTheOrderOfArrivalDoesNotMatter: the same tests, last first, end in the
// same assessments and the same open alerts.
func TestTheOrderOfArrivalDoesNotMatter(t *testing.T) {
	final := func(order []int) (out []string) {
		st := newStage(t)
		st.now = week(8)
		values := []float64{80, 80.6, 79.5, 80.2, 79.7, 86, 80.1, 87}
		for _, n := range order {
			st.handle(st.test("AKF", n, values[n], 40, nil))
		}
		for n := range values {
			a, ok, err := st.history.Assessment(t.Context(), schemas.NewTestID(schemas.NewFileID(fmt.Append(nil, "AKF", n)), "", "weekly", 0))
			if err != nil || !ok {
				t.Fatal(ok, err)
			}
			c := a.Comparison(schemas.MeasureHRex, 0)
			out = append(out, fmt.Sprintf("week %d: n %d mean %s z %s %s fired %v", n, c.N, c.Mean.Text(3), c.Z.Text(3), c.State, a.Fired))
		}
		for _, a := range st.alerts(schemas.AlertOpen) {
			out = append(out, string(a.Rule)+" "+a.About.String())
		}
		return out
	}
	inOrder := final([]int{0, 1, 2, 3, 4, 5, 6, 7})
	if n := len(inOrder); n != 9 || !strings.HasPrefix(inOrder[8], "hrex-risen 2026-10-05") {
		t.Errorf("want 8 assessments and 1 open alert, the other being closed by the test after it, got %d lines:\n%s", n, strings.Join(inOrder, "\n"))
	}
	for _, order := range [][]int{{7, 6, 5, 4, 3, 2, 1, 0}, {3, 7, 0, 5, 1, 6, 2, 4}} {
		if got := final(order); strings.Join(got, "\n") != strings.Join(inOrder, "\n") {
			t.Errorf("order %v:\n%s\nwant:\n%s", order, strings.Join(got, "\n"), strings.Join(inOrder, "\n"))
		}
	}
}

func TestOldTestsAreRecordedNotTold(t *testing.T) {
	st := newStage(t)
	st.now = week(9)
	st.steady("AKF")
	st.handle(st.test("AKF", 6, 86, 26, nil))
	st.wantPosts(0)
	if as := st.alerts(schemas.AlertOpen); len(as) != 1 || as[0].Told || as[0].Text == "" {
		t.Errorf("alerts %+v", as)
	}
}

func TestAChatThatIsDownIsTriedAgainAndOneThatRefusesIsNot(t *testing.T) {
	st := newStage(t)
	st.now = week(6).Add(time.Hour)
	st.steady("AKF")
	st.chat.Fail(chattest.Fault{Method: "chat.postMessage", Status: 503})
	st.handle(st.test("AKF", 6, 86, 26, nil))
	st.wantPosts(1)

	st.club.Squads[0].Channel = "nowhere"
	st.steady("BLO")
	st.handle(st.test("BLO", 6, 87, 25, nil))
	st.wantPosts(1)
	failed, err := st.history.Messages(t.Context(), schemas.MessageFailed)
	if err != nil || len(failed) != 2 || !strings.Contains(failed[0].Reason, "nowhere") {
		t.Errorf("failed messages %+v, %v", failed, err)
	}
}
