package message_test

import (
	"strings"
	"testing"

	"canter.example/alerts/message"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// TestTestsRunningSayWhatTheyComeToTogether: alone, the last of them is well
// within the usual spread, and the reader asks why it is told.
func TestTestsRunningSayWhatTheyComeToTogether(t *testing.T) {
	o := run("a07", 8, 157, 40)
	it := told(t, run("a07", 8, 164, 28), past("a07", 8))
	it.Outcome, it.Alert.Rule = o, schemas.RuleHRexRunning
	it.Assessment.Fired = []schemas.FiredRule{{Rule: schemas.RuleHRexRunning, Reason: "HRex +2.2 points over 2 tests running (threshold 1.8), z +1.6 (threshold 1.55)"}}
	c := &club.Club{Zone: lisbon, Privacy: club.Privacy{ChatNames: club.ShowID}}
	c.Thresholds.Rules.HRexRunning.Tests = 2
	got := strings.Split(message.About(c, it), "\n")
	if want := "Against the baseline before them: HRex +2.2 points over 2 tests running, z +1.6."; got[2] != want {
		t.Errorf("third line %q, want %q", got[2], want)
	}
}
