package review_test

import (
	"fmt"
	"testing"
	"time"

	"canter.example/alerts/review"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

var kickOff = time.Date(2026, 8, 18, 9, 0, 0, 0, time.UTC)

// season makes one athlete's weekly tests from points of %HRmax, HRmax 200; 0
// is a week without a test.
func season(points ...float64) []schemas.Outcome {
	var tests []schemas.Outcome
	for week, p := range points {
		if p == 0 {
			continue
		}
		file, start := schemas.NewFileID(fmt.Append(nil, week)), kickOff.AddDate(0, 0, 7*week)
		tests = append(tests, schemas.Outcome{
			TestID: schemas.NewTestID(file, "", "weekly", 0), FileID: file, Athlete: "AKF", Squad: "first",
			Protocol: "weekly", ProtocolVersion: "1", Session: schemas.SessionID("first", "weekly", start.Format(time.DateOnly)),
			Start: start, HRexBPM: schemas.Num(2 * p), HRexPct: schemas.Num(p),
			HRmax: schemas.HRmax{BPM: schemas.Num(200), Source: schemas.HRmaxMeasured}, Quality: schemas.Good, Coverage: 1,
		})
	}
	return tests
}

// TestTheLifeOfAnAlert: eight usual tests, and what comes after. Each week's
// word is what became of an alert about that test: "told", "silent" or "-",
// and its state.
func TestTheLifeOfAnAlert(t *testing.T) {
	usual := []float64{78, 79, 78.5, 77.8, 79, 78, 78.6, 78.2}
	for _, c := range []struct {
		name  string
		after []float64
		want  []string
	}{
		{"an alert is open while nothing comes after it", []float64{84}, []string{"told open"}},
		{"it is closed when the next test is back inside", []float64{84, 78.4}, []string{"told closed", "-"}},
		{"the same again within the hold-off is recorded, not told", []float64{84, 78.4, 89}, []string{"told closed", "-", "silent open"}},
		{"after two tests inside the same again is a new fact", []float64{84, 78.4, 78.3, 84.6}, []string{"told closed", "-", "-", "told open"}},
		{"what holds on is told once", []float64{84, 84, 84.2}, []string{"told open", "silent open", "silent open"}},
		{"a test more than six weeks later closes nothing", []float64{84, 0, 0, 0, 0, 0, 0, 78.4}, []string{"told open", "-", "-", "-", "-", "-", "-", "-"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := club.DefaultProtocol("weekly", 4*time.Minute)
			p.Version, p.BandHigh = "1", 0
			th := club.DefaultThresholds()
			cl := &club.Club{Zone: time.UTC, Thresholds: th, Protocols: []schemas.Protocol{p}, Squads: []club.Squad{{ID: "first"}}}
			words := map[string]string{}
			for _, s := range review.Review(cl, "first", "weekly", season(append(usual[:8:8], c.after...)...), kickOff) {
				for _, al := range s.Tests[0].Alerts {
					if al.Rule == schemas.RuleEasier {
						continue
					}
					w := "silent "
					if al.Told {
						w = "told "
					}
					words[s.ID] = w + string(al.State)
				}
			}
			for i, want := range c.want {
				id := schemas.SessionID("first", "weekly", kickOff.AddDate(0, 0, 7*(8+i)).Format(time.DateOnly))
				got := words[id]
				if got == "" {
					got = "-"
				}
				if got != want {
					t.Errorf("test %d after: %q, want %q", i+1, got, want)
				}
			}
		})
	}
}

func TestWhatNothingConfirmsOrEndsLapsesAfterSixWeeks(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		name  string
		rule  schemas.RuleID
		state schemas.AlertState
		age   time.Duration
		want  bool
	}{
		{"open for six weeks", schemas.RuleHRexRisen, schemas.AlertOpen, 42 * day, false},
		{"open for longer", schemas.RuleHRexRisen, schemas.AlertOpen, 42*day + time.Hour, true},
		{"seen, and nothing since", schemas.RuleBoth, schemas.AlertSeen, 43 * day, true},
		{"closed stays closed", schemas.RuleBoth, schemas.AlertClosed, 99 * day, false},
		{"withdrawn stays withdrawn", schemas.RuleBoth, schemas.AlertWithdrawn, 99 * day, false},
		{"a parked file waits", schemas.RuleFileParked, schemas.AlertOpen, 99 * day, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			al := schemas.Alert{Rule: c.rule, State: c.state, About: kickOff}
			if got := review.Lapsed(&al, kickOff.Add(c.age)); got != c.want {
				t.Errorf("lapsed: %v, want %v", got, c.want)
			}
		})
	}
}
