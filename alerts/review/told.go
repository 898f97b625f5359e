package review

import (
	"cmp"
	"slices"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Fact is what an alert is about: one number on one side, or a device or load
// that does not fit.
type Fact string

// Facts.
const (
	HRexUp   Fact = "HRex higher"
	HRRDown  Fact = "HRR smaller"
	Load     Fact = "load above the band"
	HRmaxLow Fact = "HRmax too low"
	Strap    Fact = "trace unusable"
	Easier   Fact = "easier"
)

// facts returns what a rule is about.
func facts(rule schemas.RuleID) []Fact {
	switch rule {
	case schemas.RuleHRexRisen, schemas.RuleHRexRunning, schemas.RuleHRexDrift:
		return []Fact{HRexUp}
	case schemas.RuleHRRWorsened, schemas.RuleHRRRunning, schemas.RuleHRRDrift:
		return []Fact{HRRDown}
	case schemas.RuleBoth:
		return []Fact{HRexUp, HRRDown}
	case schemas.RuleOutsideBand:
		return []Fact{Load}
	case schemas.RuleHRmaxExceeded:
		return []Fact{HRmaxLow}
	case schemas.RuleTraceInvalid:
		return []Fact{Strap}
	case schemas.RuleEasier:
		return []Fact{Easier}
	case schemas.RuleTestMissing, schemas.RuleFileParked, schemas.RuleSquadEffect:
	}
	return nil
}

// fired is what held at one valid test.
type fired struct {
	at    time.Time
	facts []Fact
	both  bool
}

func firedAt(a *schemas.Assessment) fired {
	f := fired{at: a.Start}
	for _, r := range a.Fired {
		for _, x := range facts(r.Rule) {
			if !slices.Contains(f.facts, x) {
				f.facts = append(f.facts, x)
			}
		}
	}
	f.both = slices.Contains(f.facts, HRexUp) && slices.Contains(f.facts, HRRDown)
	return f
}

// news decides whether an alert is one: a fact that fired within the rule's
// hold-off before, and was not over since, is known already, unless both
// measures now say it together, or it has gone on for so many tests running that it is time to say so again.
//
// What fired counts, told or not, so that the answer looks back no further
// than the hold-off.
func (r *reviewer) news(al schemas.Alert, a *schemas.Assessment, at *athlete) Alert {
	t := &r.club.Thresholds
	rule, set := t.Rules.Of(al.Rule)
	now := firedAt(a)
	out := Alert{Alert: al, Facts: facts(al.Rule)}
	if al.ID == rules.ChangeAlertID(al.TestID) {
		// One alert speaks for all that its numbers set off.
		out.Facts = slices.DeleteFunc(slices.Clone(now.facts), func(f Fact) bool { return f != HRexUp && f != HRRDown })
	}
	if set {
		out.Urgency = cmp.Or(rule.Urgency, al.Urgency)
	}
	out.Running = at.running(now.at, out.Facts)
	known := 0
	bothBefore := false
	for _, f := range out.Facts {
		if at.known(f, now.at, rule.HoldOff) {
			known++
		}
	}
	for _, old := range at.fired {
		bothBefore = bothBefore || old.both && now.at.Sub(old.at) <= rule.HoldOff && old.at.Before(now.at)
	}
	switch {
	case set && rule.Tell == club.TellDigest:
		out.Silent = "for the digest"
	case known < max(len(out.Facts), 1):
	case now.both && len(out.Facts) > 1 && !bothBefore:
	case t.Again > 1 && out.Running == t.Again:
	default:
		out.Silent = "known already"
	}
	out.Told = out.Silent == ""
	return out
}

// over is how many valid tests running without a change end its hold-off: one
// may be chance, after two it is over and the same again is news. An HRmax or a
// load that does not fit is not over until somebody mends it.
const over = 2

// known reports whether a fact held within the hold-off before an instant, and
// has not been over since.
func (a *athlete) known(x Fact, at time.Time, holdOff time.Duration) bool {
	without := 0
	for _, f := range slices.Backward(a.fired) {
		switch {
		case !f.at.Before(at):
			continue
		case at.Sub(f.at) > holdOff || without == over && (x == HRexUp || x == HRRDown):
			return false
		case slices.Contains(f.facts, x):
			return true
		}
		without++
	}
	return false
}

// running returns how many valid tests running within [rules.RunningWithin],
// the one at an instant included, the first of the facts has held.
func (a *athlete) running(at time.Time, facts []Fact) int {
	if len(facts) == 0 {
		return 0
	}
	n := 1
	for _, f := range slices.Backward(a.fired) {
		if !f.at.Before(at) {
			continue
		}
		if at.Sub(f.at) > rules.RunningWithin || !slices.Contains(f.facts, facts[0]) {
			break
		}
		n++
	}
	return n
}

// close closes the alerts about an athlete whose next valid test shows none of
// it any more, and those about a squad whose next session was a usual one.
func (r *reviewer) close(sessions []Session) {
	for i := range sessions {
		if al := sessions[i].Squad; al != nil {
			if next := usual(sessions[i+1:], sessions[i].Day); !next.IsZero() {
				al.State, al.BackInside = schemas.AlertClosed, next
			}
		}
		for j := range sessions[i].Tests {
			t := &sessions[i].Tests[j]
			for k := range t.Alerts {
				al := &t.Alerts[k]
				if back := r.athletes[al.Athlete].inside(al); !back.IsZero() {
					al.State, al.BackInside = schemas.AlertClosed, back
				}
			}
		}
	}
}

// usual returns the day of the first of sessions, in time of one on day, that
// could be judged and was like others.
func usual(sessions []Session, day time.Time) time.Time {
	for i := range sessions {
		s := &sessions[i]
		if s.Day.Sub(day) > closesWithin {
			break
		}
		judged := slices.ContainsFunc(s.Effects, func(e assess.Effect) bool { return e.State == assess.Estimated })
		if judged && s.Squad == nil {
			return s.Day
		}
	}
	return time.Time{}
}

// inside returns when the athlete's numbers were inside again after an alert.
func (a *athlete) inside(al *Alert) time.Time {
	for _, f := range a.fired {
		if !f.at.After(al.About) {
			continue
		}
		if f.at.Sub(al.About) > closesWithin {
			return time.Time{}
		}
		if !slices.ContainsFunc(al.Facts, func(x Fact) bool { return slices.Contains(f.facts, x) }) {
			return f.at
		}
	}
	return time.Time{}
}

// closesWithin bounds how long after it a later test still says something
// about an alert, so that a review need not go back for ever.
const closesWithin = rules.RunningWithin

// Lapsed reports whether an alert that is still open or seen has lapsed by now:
// within six weeks no valid test of the athlete (no session of the squad that
// could be judged) has shown whether it still holds, and what comes later is a
// new question. A file stays parked however long it waits.
func Lapsed(al *schemas.Alert, now time.Time) bool {
	open := al.State == schemas.AlertOpen || al.State == schemas.AlertSeen
	return open && al.Rule != schemas.RuleFileParked && now.Sub(al.About) > closesWithin
}

// Touched is how long before a changed test alerts may change with it.
const Touched = closesWithin
