package message_test

import (
	"strings"
	"testing"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/message"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// session is a session of the invented club with one look of each kind.
func session() *message.Summary {
	both := change("a07", schemas.RuleBoth, schemas.LookNow)
	strap := change("a11", schemas.RuleTraceInvalid, schemas.Routine)
	strap.Assessment.Fired = []schemas.FiredRule{{Rule: schemas.RuleTraceInvalid, Reason: "the second unusable trace running"}}
	squad := message.Look{Item: message.Item{Alert: schemas.Alert{ID: "a3", Rule: schemas.RuleSquadEffect, Squad: "first", State: schemas.AlertOpen,
		Text: "First squad: HRex higher for the whole session\nand more"}}}
	return &message.Summary{
		Squad: "first", Protocol: "steady4", When: time.Date(2026, 1, 27, 10, 5, 0, 0, lisbon), MicrocycleDay: "MD-3", Surface: "grass",
		Tested: 20, Usable: 18, Expected: 22, Building: 2, Missing: []string{"a19", "a20"}, LeftOut: []string{"a21"},
		Unusable: []message.Trouble{{Athlete: "a11", Test: "t9", Why: `readings of "Tor Lindqvale" jump.`}},
		Doubtful: []message.Trouble{{Athlete: "a22", Test: "t8", Why: "start found with confidence 0.6."}},
		Looks:    []message.Look{squad, both, strap},
	}
}

// change is an alert of an athlete whose HRex rose and HRR60 fell.
func change(athlete string, rule schemas.RuleID, urgency schemas.Urgency) message.Look {
	o := run(athlete, 6, 168, 28)
	return message.Look{Item: message.Item{
		Alert:   schemas.Alert{ID: "a1", Rule: rule, Urgency: urgency, TestID: o.TestID, Athlete: athlete, Squad: "first", State: schemas.AlertOpen},
		Outcome: o,
		Assessment: schemas.Assessment{TestID: o.TestID, Athlete: athlete, Fired: []schemas.FiredRule{{Rule: rule, Reason: "HRex risen (threshold 2.8)"}}, Comparisons: []schemas.Comparison{
			{Measure: schemas.MeasureHRex, Unit: "% points of HRmax", State: schemas.Higher, Value: schemas.Num(88.4), Change: schemas.Num(4.2), Z: schemas.Num(3.1)},
			{Measure: schemas.MeasureHRR, Seconds: 60, Unit: "bpm", State: schemas.Lower, Value: schemas.Num(28), Change: schemas.Num(-9), Z: schemas.Num(-2.8)},
		}},
	}}
}

func TestASessionInOneMessage(t *testing.T) {
	for name, style := range map[string]club.NameStyle{"session-names": club.ShowName, "session-initials": club.ShowInitials} {
		golden(t, name, message.Summarise(rivermeet(style), session()))
	}
	done := session()
	done.Looks[1].Alert.State = schemas.AlertWithdrawn
	done.Looks[1].Done = []string{message.Deed(rivermeet(club.ShowName), "Seen", "K. Moss", ""), message.Deed(rivermeet(club.ShowName), "Left out", "K. Moss", "strap slipped")}
	done.Doubtful = nil
	golden(t, "session-done", message.Summarise(rivermeet(club.ShowName), done))
	later := session()
	later.Later = true
	later.Looks = later.Looks[1:2]
	golden(t, "session-later", message.Summarise(rivermeet(club.ShowName), later))
	quiet := session()
	quiet.Looks, quiet.Doubtful, quiet.Unusable, quiet.LeftOut, quiet.Missing, quiet.Building = nil, nil, nil, nil, nil, 0
	golden(t, "session-quiet", message.Summarise(rivermeet(club.ShowName), quiet))
	hot := session()
	hot.Conditions = []assess.Condition{{SeriesValue: schemas.SeriesValue{Series: "humidity", Value: 40, Unit: "%"}}, heat}
	golden(t, "session-hot", message.Summarise(rivermeet(club.ShowName), hot))
}

var heat = assess.Condition{SeriesValue: schemas.SeriesValue{Series: "temperature", Value: 31, Unit: "°C"}, Usual: schemas.Num(18.6), N: 8}

func TestWhatTheSquadSharedStandsBesideItsAlert(t *testing.T) {
	it := session().Looks[0].Item
	it.Alert.Text = "First squad: HRex higher for the whole session\nSteady 4 min at 12 km/h, Tue 27 Jan 2026\nHRex +4 points.\nCaution: …"
	it.Conditions = []assess.Condition{heat}
	want := "First squad: HRex higher for the whole session\nSteady 4 min at 12 km/h, Tue 27 Jan 2026\n" +
		"Recorded that day: temperature 31 °C (mean of the 8 days before: 19).\nHRex +4 points.\nCaution: …"
	if got := message.About(rivermeet(club.ShowName), it); got != want {
		t.Errorf("got:\n%s\nwant:\n%s", got, want)
	}
	it.Conditions = nil
	if got := message.About(rivermeet(club.ShowName), it); got != it.Alert.Text {
		t.Errorf("nothing recorded, got:\n%s", got)
	}
}

func TestWhatASessionsHeadlineSays(t *testing.T) {
	c := rivermeet(club.ShowName)
	for want, change := range map[string]func(*message.Summary){
		"2 to look at":                   func(*message.Summary) {},
		"the squad moved as a whole":     func(s *message.Summary) { s.Looks = s.Looks[:1] },
		"nobody stands out":              func(s *message.Summary) { s.Looks = nil },
		"no usable trace":                func(s *message.Summary) { s.Looks, s.Usable = nil, 0 },
		"baselines still building":       func(s *message.Summary) { s.Looks, s.Building = nil, 18 },
		"something more to look at":      func(s *message.Summary) { s.Looks, s.Later = s.Looks[:1], true },
		"20 athletes tested, 1 to look":  func(s *message.Summary) { s.Looks[1].Alert.State = schemas.AlertWithdrawn },
		"20 athletes tested, nobody sta": func(s *message.Summary) { s.Looks = s.Looks[1:2]; s.Looks[0].Alert.State = schemas.AlertClosed },
	} {
		s := session()
		change(s)
		head, _, _ := strings.Cut(message.Summarise(c, s), "\n")
		if !strings.HasPrefix(head, "First squad, Tue 27 Jan: ") || !strings.Contains(head, want) {
			t.Errorf("%q does not say %q", head, want)
		}
	}
}
