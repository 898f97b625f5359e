package alerts_test

import (
	"bytes"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"canter.example/alerts/chat/chattest"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
)

// squadOf sets the stage up with n athletes of the first squad, a channel that
// allows a message a second, and buttons.
func squadOf(t *testing.T, n int) *stage {
	st := newStage(t)
	st.club.Athletes = nil
	for i := range n {
		st.club.Athletes = append(st.club.Athletes, schemas.Athlete{ID: fmt.Sprintf("b%02d", i), Name: fmt.Sprintf("Bo %02d", i), Squads: []schemas.Membership{{Squad: "first"}}})
	}
	st.club.Chat.Sessions, st.club.Chat.Pictures = club.TellAll, 2
	st.club.Chat.AppTokenEnv, st.club.Chat.Staff = "APP", []club.ChatUser{{User: "U012345678", Name: "K. Moss"}}
	return st
}

// season stores weeks of unremarkable tests of everybody, and goes through them
// without telling.
func (st *stage) season(weeks int) {
	st.t.Helper()
	for w := range weeks {
		st.now = week(w).AddDate(1, 0, 0) // too old to be told
		for i := range st.club.Athletes {
			if err := st.s.Handle(st.t.Context(), st.test(st.club.Athletes[i].ID, w, 80+[]float64{0.3, -0.4, 0.1, -0.2, 0.4, -0.1}[(w+i)%6], 40, nil)); err != nil {
				st.t.Fatal(err)
			}
		}
	}
	st.squadsDone()
	st.wantPosts(0)
}

// play handles the tests of one week by the change to each athlete's HRex.
func (st *stage) play(w int, who []int, change map[int]float64) {
	st.t.Helper()
	st.now = week(w).Add(time.Hour)
	for _, i := range who {
		d := st.test(st.club.Athletes[i].ID, w, 80+change[i], 40-2*change[i], nil)
		if err := st.s.Handle(st.t.Context(), d); err != nil {
			st.t.Fatal(err)
		}
	}
	st.squadsDone()
}

func upTo(n int) (out []int) {
	for i := range n {
		out = append(out, i)
	}
	return out
}

func TestASessionIsOneMessageWithItsAnswers(t *testing.T) {
	st := squadOf(t, 12)
	st.season(6)
	st.play(6, upTo(10), map[int]float64{1: 6, 3: 7, 5: 8, 7: 6})
	posts := st.chatDone()
	if len(posts) != 4 {
		t.Fatalf("%d messages, want the session's, two answers with pictures and one of the rest:\n%+v", len(posts), posts)
	}
	root := posts[0]
	for _, want := range []string{"10 athletes tested, 4 to look at", "10 of 12 tested", "Missing: Bo 10, Bo 11", "1. Bo 01: ", "3. Bo 05: ", "medical"} {
		if !strings.Contains(root.Plain(), want) {
			t.Errorf("the session's message lacks %q:\n%s", want, root.Plain())
		}
	}
	if len(root.Buttons) != 12 || root.Buttons[0].Label != "Seen" || root.Buttons[2].Label != "Trace is bad: leave it out" {
		t.Errorf("buttons %+v", root.Buttons)
	}
	for i, p := range posts[1:] {
		if p.ThreadTS != root.TS {
			t.Errorf("answer %d is not in the thread", i)
		}
	}
	one := posts[1]
	if len(one.Files) != 1 || !strings.Contains(one.Plain(), "Bo 01: HRex higher") || !strings.Contains(one.Files[0].Alt, "Bo 01") {
		t.Fatalf("an answer with %d pictures:\n%s", len(one.Files), one.Plain())
	}
	if img, err := png.Decode(bytes.NewReader(one.Files[0].Content)); err != nil || img.Bounds().Dx() != 1000 {
		t.Errorf("the picture: %v", err)
	}
	if rest := posts[3]; len(rest.Files) != 0 || !strings.Contains(rest.Plain(), "Bo 05") {
		t.Errorf("the rest:\n%s", rest.Plain())
	}
	if dir := os.Getenv("CANTER_LOOK"); dir != "" {
		_ = os.WriteFile(filepath.Join(dir, "answer.png"), one.Files[0].Content, 0o600)
	}
}

func TestASessionsMessageIsKeptUpToDate(t *testing.T) {
	st := squadOf(t, 8)
	st.season(6)
	st.play(6, upTo(5), nil)
	root := st.wantPosts(1)[0]
	if !strings.Contains(root.Plain(), "5 of 8 tested") || !strings.Contains(root.Plain(), "nobody stands out") || root.Edits != 0 {
		t.Fatalf("at first:\n%s", root.Plain())
	}
	// More files come: no new message, the first one says so.
	st.play(6, []int{5, 6}, nil)
	if root = st.wantPosts(1)[0]; !strings.Contains(root.Plain(), "7 of 8 tested") || root.Edits != 1 {
		t.Fatalf("%d changes:\n%s", root.Edits, root.Plain())
	}
	// One who stands out comes late: a message of their own, with an answer.
	st.play(6, []int{7}, map[int]float64{7: 7})
	posts := st.wantPosts(2)
	if later := posts[1]; !strings.Contains(later.Plain(), "1 more athlete to look at") || len(later.Buttons) != 3 {
		t.Fatalf("what came later:\n%s\n%+v", later.Plain(), later.Buttons)
	}
	// Staff say what they did: the line says who.
	al := st.alerts(schemas.AlertOpen)[0]
	n := schemas.Note{ID: "n1", AlertID: al.ID, Athlete: al.Athlete, Seen: true, Text: "had a cold", Who: "K. Moss", When: st.now}
	if err := st.s.Handle(t.Context(), st.note(n)); err != nil {
		t.Fatal(err)
	}
	st.squadsDone()
	posts = st.wantPosts(2)
	if later := posts[1]; !strings.Contains(later.Plain(), "Seen by K. Moss: had a cold.") || len(later.Buttons) != 2 {
		t.Errorf("after it was seen:\n%s\n%+v", later.Plain(), later.Buttons)
	}
	// Nothing new: nothing is changed.
	edits := st.chat.Calls("chat.update")
	st.play(6, []int{7}, map[int]float64{7: 7})
	if st.wantPosts(2); st.chat.Calls("chat.update") != edits {
		t.Error("a message was changed into what it was")
	}
}

func TestADoubtfulTraceCanBeAcceptedFromTheMessage(t *testing.T) {
	st := squadOf(t, 4)
	st.season(6)
	st.now = week(6).Add(time.Hour)
	for i := range 4 {
		d := st.test(st.club.Athletes[i].ID, 6, 80, 40, func(o *schemas.Outcome) {
			if i == 2 {
				o.Quality, o.Reasons = schemas.Check, []schemas.Reason{{Code: schemas.ReasonStartUncertain, Text: "the start is uncertain"}}
			}
		})
		if err := st.s.Handle(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	st.squadsDone()
	root := st.wantPosts(1)[0]
	if !strings.Contains(root.Plain(), "1. Bo 02: the start is uncertain.") || len(root.Buttons) != 2 || root.Buttons[0].Label != "Accept the trace" {
		t.Errorf("%s\n%+v", root.Plain(), root.Buttons)
	}
}

// TestFortyAthletesAtOneMessageASecond: what the design asks of chat. The
// channel shows one message; its answers follow, one a second.
func TestFortyAthletesAtOneMessageASecond(t *testing.T) {
	st := squadOf(t, 40)
	st.season(6)
	slow := chattest.Start(chattest.Options{Channels: []string{"first-team"}, Pace: time.Second})
	t.Cleanup(slow.Close)
	st.chat = slow
	st.club.Chat.Pictures = 4
	st.startWith(time.Second, 30*time.Second)
	began := time.Now()
	st.play(6, upTo(40), map[int]float64{4: 7, 17: 8, 31: 6})
	posts := st.chatDone()
	took := time.Since(began)
	top := slices.DeleteFunc(slices.Clone(posts), func(p chattest.Post) bool { return p.ThreadTS != "" })
	if len(top) != 1 || len(posts) != 4 || slow.Calls("chat.postMessage")+slow.Calls("files.completeUploadExternal") != 4 {
		t.Errorf("%d messages in the channel, %d with answers", len(top), len(posts))
	}
	t.Logf("one message and three answers with pictures for 40 athletes: %.1f s", took.Seconds())
}

// TestAStrapProblemGoesToOnePerson where the club file names one, and to
// nobody else; the session's message still counts the trace.
func TestAStrapProblemGoesToOnePerson(t *testing.T) {
	const kit = "U0KITMANAGE"
	st := squadOf(t, 5)
	st.club.Thresholds.Rules.TraceUnusable.Tell = kit
	st.chat.AddPerson(kit)
	st.season(6)
	bad := func(o *schemas.Outcome) {
		o.Quality, o.HRexBPM, o.HRexPct = schemas.Reject, schemas.Number{}, schemas.Number{}
		o.Reasons = []schemas.Reason{{Code: schemas.ReasonLowCoverage, Text: "22 % of its window has valid heart rate"}}
	}
	for w := 6; w < 8; w++ {
		st.now = week(w).Add(time.Hour)
		for i := range st.club.Athletes {
			change := func(*schemas.Outcome) {}
			if i == 2 {
				change = bad
			}
			if err := st.s.Handle(t.Context(), st.test(st.club.Athletes[i].ID, w, 80, 40, change)); err != nil {
				t.Fatal(err)
			}
		}
		st.squadsDone()
		st.chatDone()
	}
	direct, channel := 0, 0
	for _, p := range st.chatDone() {
		text := p.Plain()
		switch p.Channel.ID {
		case "D" + kit[1:]:
			direct++
			if !strings.Contains(text, "Bo 02") || !strings.Contains(text, "trace unusable 2 tests running") && !strings.Contains(strings.ToLower(text), "strap") {
				t.Errorf("to the person:\n%s", text)
			}
		default:
			channel++
			if p.ThreadTS != "" {
				t.Errorf("an answer about the strap in the channel:\n%s", text)
			}
			if !strings.Contains(text, "4 with a usable trace") {
				t.Errorf("the session's message:\n%s", text)
			}
		}
	}
	if direct != 1 || channel != 2 {
		t.Errorf("%d messages to the person, want 1; %d in the channel, want 2", direct, channel)
	}
}

// TestADoubtfulTraceIsNoBaselineThatBuilds: of the two who were tested, the one
// whose trace counts has a verdict.
func TestADoubtfulTraceIsNoBaselineThatBuilds(t *testing.T) {
	st := squadOf(t, 6)
	st.season(6)
	st.club.Athletes = append(st.club.Athletes, schemas.Athlete{ID: "new", Name: "Nia New", Squads: []schemas.Membership{{Squad: "first"}}})
	st.now = week(6).Add(time.Hour)
	for _, d := range []*broker.Delivery{
		st.test("b00", 6, 80, 40, nil),
		st.test("new", 6, 80, 40, func(o *schemas.Outcome) { o.Quality = schemas.Check }),
	} {
		if err := st.s.Handle(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	st.squadsDone()
	if text := st.wantPosts(1)[0].Plain(); !strings.Contains(text, "2 athletes tested, nobody stands out") {
		t.Errorf("reads\n%s", text)
	}
}

// TestAStrapThatIsTakenBackSaysNothingOfNumbers: those of the trace, read after
// all, may be far from usual.
func TestAStrapThatIsTakenBackSaysNothingOfNumbers(t *testing.T) {
	st := newStage(t)
	st.now = week(7).Add(time.Hour)
	st.steady("AKF")
	stuck := func(o *schemas.Outcome) {
		o.Quality, o.Reasons = schemas.Reject, []schemas.Reason{{Code: schemas.ReasonStuck, Text: "the same reading for 95 s"}}
	}
	st.handle(st.test("AKF", 6, 80, 40, stuck))
	st.handle(st.test("AKF", 7, 90, 40, stuck))
	st.wantPosts(1)
	st.handle(st.test("AKF", 7, 90, 40, nil))
	var withdrawn string
	for _, p := range st.chatDone() {
		if strings.Contains(p.Plain(), "Withdrawn: ") {
			withdrawn = p.Plain()
		}
	}
	if !strings.Contains(withdrawn, "judged again, it is not so") || strings.Contains(withdrawn, "numbers") {
		t.Errorf("reads\n%s", withdrawn)
	}
}
