package simulate

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/review"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Noise is how much the numbers of an unchanged athlete move between tests.
type Noise struct {
	// HRex typical error in points of %HRmax, HRR in bpm.
	HRex, HRR float64
}

// Change is what is done to a squad.
type Change struct {
	// Week from 0 in which it begins.
	Week int
	// Step is added to HRex of the changed athletes from then on, Drift a
	// further so many points a week; Hot is added for everybody in that one week.
	Step, Drift, Hot float64
	// Changed athletes of the squad.
	Changed int
}

// Season is one squad's season as played.
type Season struct {
	Club     *club.Club
	Tests    []schemas.Outcome
	Sessions []review.Session
}

var kickOff = time.Date(2026, 1, 6, 9, 30, 0, 0, time.UTC)

const (
	squad, protocol = "squad", "run"
	hrmax           = 200
)

// Invent makes the tests of a squad: levels of HRex around 78 ± 3 % of HRmax
// and of HRR60 around 40 ± 6 bpm, one test a week, independent normal noise.
func Invent(rng *rand.Rand, athletes, weeks int, noise Noise, c Change) []schemas.Outcome {
	tests := make([]schemas.Outcome, 0, athletes*weeks)
	for i := range athletes {
		level, recovery := 78+3*rng.NormFloat64(), 40+6*rng.NormFloat64()
		for w := range weeks {
			v := level + noise.HRex*rng.NormFloat64()
			if w >= c.Week && i < c.Changed {
				v += c.Step + c.Drift*float64(w-c.Week+1)
			}
			if w == c.Week {
				v += c.Hot
			}
			tests = append(tests, test(i, w, v, recovery+noise.HRR*rng.NormFloat64()))
		}
	}
	return tests
}

func name(athlete int) string { return fmt.Sprintf("a%02d", athlete) }

func test(athlete, week int, hrexPct, hrr float64) schemas.Outcome {
	start := kickOff.AddDate(0, 0, 7*week).Add(time.Duration(athlete) * time.Second)
	file := schemas.FileID(fmt.Sprintf("%02d-%03d", athlete, week))
	return schemas.Outcome{
		TestID: schemas.TestID(file), FileID: file, Athlete: name(athlete), Squad: squad,
		Protocol: protocol, ProtocolVersion: "1", Session: schemas.SessionID(squad, protocol, start.Format(time.DateOnly)),
		Start: start, HRexBPM: schemas.Num(hrexPct * hrmax / 100), HRexPct: schemas.Num(hrexPct),
		HRmax:    schemas.HRmax{BPM: schemas.Num(hrmax), Source: schemas.HRmaxMeasured},
		Recovery: []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(hrr), Coverage: 1}},
		Coverage: 1, Quality: schemas.Good,
	}
}

// Play reviews a season with the given thresholds. Change is as for [review.Review].
func Play(tests []schemas.Outcome, t club.Thresholds, change ...func(*assess.Settings)) Season {
	p := club.DefaultProtocol(protocol, 4*time.Minute)
	c := &club.Club{Zone: time.UTC, Thresholds: t, Protocols: []schemas.Protocol{p}}
	return Season{Club: c, Tests: tests, Sessions: review.Review(c, squad, protocol, tests, time.Time{}, change...)}
}

// told are the alerts about athletes in a session that staff hear of.
func told(t *review.Test) []review.Alert {
	return slices.DeleteFunc(slices.Clone(t.Alerts), func(a review.Alert) bool { return !a.Told })
}

// plainZ is what a spreadsheet would flag: a change from the mean of the last
// tests beyond 2 of the athlete's own SDs, HRex up or HRR down.
func plainZ(a *schemas.Assessment) bool {
	beyond := func(c *schemas.Comparison, side float64) bool {
		if c == nil {
			return false
		}
		change, ok := c.Change.Get()
		sd, _ := c.SD.Get()
		return ok && sd > 0 && side*change/sd >= 2
	}
	return beyond(a.Comparison(schemas.MeasureHRex, 0), 1) || beyond(a.Comparison(schemas.MeasureHRR, 60), -1)
}
