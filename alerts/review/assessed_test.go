package review

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
	"github.com/google/go-cmp/cmp"
)

// TestSessionsSideBySideAreAsOneByOne: 130 sessions of twelve athletes, more than
// are assessed at once, with noise, days of their own and a squad's hot days.
func TestSessionsSideBySideAreAsOneByOne(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	first := time.Date(2022, 1, 4, 9, 0, 0, 0, time.UTC)
	cl := &club.Club{Zone: time.UTC, Thresholds: club.DefaultThresholds(), Squads: []club.Squad{{ID: "first"}}}
	p := club.DefaultProtocol("weekly", 4*time.Minute)
	p.Version = "v"
	cl.Protocols = []schemas.Protocol{p}
	for a := range 12 {
		cl.Athletes = append(cl.Athletes, schemas.Athlete{ID: fmt.Sprint("A", a), Squads: []schemas.Membership{{Squad: "first"}}})
	}
	var tests []schemas.Outcome
	for week := range 130 {
		hot := 8 * float64(r.IntN(10)/9)
		for a := range 12 {
			start := first.AddDate(0, 0, 7*week).Add(time.Duration(a) * time.Second)
			file := schemas.NewFileID(fmt.Append(nil, week, a))
			bpm := 150 + float64(a) + hot + 3*r.NormFloat64()
			tests = append(tests, schemas.Outcome{
				TestID: schemas.NewTestID(file, "", "weekly", 0), FileID: file, Athlete: fmt.Sprint("A", a), Squad: "first",
				Protocol: "weekly", ProtocolVersion: "v", Session: schemas.SessionID("first", "weekly", start.Format(time.DateOnly)),
				Start: start, HRexBPM: schemas.Num(bpm), HRexPct: schemas.Num(bpm / 2),
				HRmax: schemas.HRmax{BPM: schemas.Num(200), Source: schemas.HRmaxMeasured}, Quality: schemas.Good, Coverage: 1,
			})
		}
	}
	review := func(processors int) []Session {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		return Review(cl, "first", "weekly", tests, first)
	}
	one, four := review(1), review(4)
	alerts := 0
	for i := range one {
		for j := range one[i].Tests {
			alerts += len(one[i].Tests[j].Alerts)
		}
	}
	if len(one) != 130 || alerts == 0 {
		t.Fatalf("%d sessions with %d alerts: nothing to compare", len(one), alerts)
	}
	if d := cmp.Diff(one, four, cmp.Comparer(func(a, b schemas.Number) bool { return a == b })); d != "" {
		t.Errorf("side by side another review comes out (-one by one +side by side):\n%s", d)
	}
}

// TestAPanicBesideIsTheCallers: whoever handles the review meets it, and the
// process goes on.
func TestAPanicBesideIsTheCallers(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(4))
	defer func() {
		if p, _ := recover().(string); !strings.Contains(p, "nil pointer") || !strings.Contains(p, "assess") {
			t.Errorf("the panic says %q, want what was wrong and where", p)
		}
	}()
	r := reviewer{club: &club.Club{Zone: time.UTC, Thresholds: club.DefaultThresholds()}}
	stranger := []*schemas.Outcome{{Athlete: "stranger", Session: "s", Start: time.Unix(1e9, 0)}}
	r.assessAll([][]*schemas.Outcome{stranger, stranger, stranger, stranger, stranger, stranger, stranger, stranger})
	t.Error("there is no panic")
}
