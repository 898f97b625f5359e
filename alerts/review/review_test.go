package review_test

import (
	"fmt"
	"testing"
	"time"

	"canter.example/alerts/review"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// TestVersionsOfAProtocolCompareOnlyWhereTheClubSaysSo: six tests before an edit
// of the protocol, one after it.
func TestVersionsOfAProtocolCompareOnlyWhereTheClubSaysSo(t *testing.T) {
	first := time.Date(2026, 8, 18, 9, 0, 0, 0, time.UTC)
	var tests []schemas.Outcome
	for week := range 7 {
		version := "old"
		if week == 6 {
			version = "new"
		}
		file := schemas.NewFileID(fmt.Append(nil, week))
		start := first.AddDate(0, 0, 7*week)
		tests = append(tests, schemas.Outcome{
			TestID: schemas.NewTestID(file, "", "weekly", 0), FileID: file, Athlete: "AKF", Squad: "first",
			Protocol: "weekly", ProtocolVersion: version, Session: schemas.SessionID("first", "weekly", start.Format(time.DateOnly)),
			Start: start, HRexBPM: schemas.Num(160 + float64(week%2)), HRexPct: schemas.Num((160 + float64(week%2)) / 2),
			HRmax: schemas.HRmax{BPM: schemas.Num(200), Source: schemas.HRmaxMeasured}, Quality: schemas.Good, Coverage: 1,
		})
	}
	p := club.DefaultProtocol("weekly", 4*time.Minute)
	p.Version = "new"
	for _, c := range []struct {
		same []string
		n    int
	}{{nil, 0}, {[]string{"old"}, 6}, {[]string{"another"}, 0}} {
		p.SameAs = c.same
		cl := &club.Club{Zone: time.UTC, Thresholds: club.DefaultThresholds(), Protocols: []schemas.Protocol{p},
			Squads: []club.Squad{{ID: "first"}}, Athletes: []schemas.Athlete{{ID: "AKF", Squads: []schemas.Membership{{Squad: "first"}}}}}
		sessions := review.Review(cl, "first", "weekly", tests, first)
		last := sessions[len(sessions)-1].Tests[0]
		got := last.Assessment.Comparison(schemas.MeasureHRex, 0)
		if got == nil || got.N != c.n {
			t.Errorf("same as %v: compared with %+v, want %d tests", c.same, got, c.n)
		}
	}
}
