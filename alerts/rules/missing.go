package rules

import (
	"slices"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Absence is why an athlete counts as missing at a planned test.
type Absence string

// Absences, from the least to the most that is there.
const (
	// NoTest: no test of the protocol by this athlete near the planned time.
	NoTest Absence = "no test"
	// NotUsable: there is a test, but it was rejected or staff left it out.
	NotUsable Absence = "test not usable"
	// Doubtful: there is a test that staff have yet to accept or leave out.
	Doubtful Absence = "test to be checked"
)

// Missing is an athlete of whom a planned test gave nothing to compare.
type Missing struct {
	Athlete string
	Absence Absence
}

// Attendance is what came of a planned test.
type Attendance struct {
	Slot club.Slot
	// Session the slot's tests belong to.
	Session string
	// Expected counts the athletes who were in the squad at the time.
	Expected int
	// Ran is false when none of them has a test: then nobody in particular is
	// missing, the session did not happen or its files have not come.
	Ran bool
	// Missing, by athlete id.
	Missing []Missing
	// Straps are those of the missing whose test before came to nothing because
	// of the trace: a strap that fails for good leaves no test at all.
	Straps []string
}

// Strap notes who of the missing had an unusable trace at the test before,
// within [RunningWithin]. Tests are as for [Attend], with those of that time.
func (at *Attendance) Strap(tests []schemas.Outcome) {
	for _, m := range at.Missing {
		var last *schemas.Outcome
		for i := range tests {
			t := &tests[i]
			before := at.Slot.Time.Sub(t.Start)
			if t.Athlete == m.Athlete && t.Staff != schemas.Excluded && before > at.Slot.Planned.Within && before <= RunningWithin && (last == nil || t.Start.After(last.Start)) {
				last = t
			}
		}
		if last != nil && unusable(last) {
			at.Straps = append(at.Straps, m.Athlete)
		}
	}
}

// Attend looks at a planned test after its time: which of the squad's athletes
// have no usable test of its protocol. A test counts for the slot when it
// started within Within of the planned time or on the same day in zone (a
// session moved to the evening is not missing).
func Attend(slot club.Slot, athletes []schemas.Athlete, tests []schemas.Outcome, zone *time.Location) Attendance {
	p := slot.Planned
	at := Attendance{
		Slot:    slot,
		Session: schemas.SessionID(p.Squad, p.Protocol, slot.Time.In(zone).Format(time.DateOnly)),
	}
	for i := range athletes {
		if !athletes[i].In(p.Squad, slot.Time) {
			continue
		}
		at.Expected++
		absence := testAt(slot, athletes[i].ID, tests, zone)
		at.Ran = at.Ran || absence != NoTest
		if absence != "" {
			at.Missing = append(at.Missing, Missing{athletes[i].ID, absence})
		}
	}
	slices.SortFunc(at.Missing, func(a, b Missing) int { return strings.Compare(a.Athlete, b.Athlete) })
	return at
}

// Alert returns the one alert of the slot; ok is false when nobody is missing.
func (at Attendance) Alert() (alert schemas.Alert, ok bool) {
	if len(at.Missing) == 0 {
		return schemas.Alert{}, false
	}
	p := at.Slot.Planned
	return schemas.Alert{
		ID:      schemas.NewAlertID(FamilyMissing, p.ID, at.Slot.Time.UTC().Format(time.RFC3339)),
		Rule:    schemas.RuleTestMissing,
		Urgency: schemas.Routine, Squad: p.Squad, Protocol: p.Protocol, Session: at.Session,
		About: at.Slot.Time, State: schemas.AlertOpen,
	}, true
}

// testAt returns what is wrong with the athlete's test at the slot, "" when
// there is a valid one.
func testAt(slot club.Slot, athlete string, tests []schemas.Outcome, zone *time.Location) Absence {
	day := slot.Time.In(zone).Format(time.DateOnly)
	absence := NoTest
	for i := range tests {
		t := &tests[i]
		if t.Athlete != athlete || t.Protocol != slot.Planned.Protocol {
			continue
		}
		near := t.Start.Sub(slot.Time).Abs() <= slot.Planned.Within
		switch {
		case !near && t.Start.In(zone).Format(time.DateOnly) != day:
		case t.Valid():
			return ""
		case t.Quality == schemas.Check && t.Staff != schemas.Excluded:
			absence = Doubtful
		case absence == NoTest:
			absence = NotUsable
		}
	}
	return absence
}
