package rules

import (
	"canter.example/schemas"
)

// Families of alerts: the first part of an alert's id. All that one family
// can say of one subject is one alert.
const (
	FamilyChange  = "change"
	FamilyTrace   = "trace"
	FamilyMissing = "missing"
	FamilyParked  = "parked"
	FamilyLoad    = "load"
	FamilyHRmax   = "hrmax"
	FamilyEasier  = "improved" // ids of stored alerts are made of it
	FamilySquad   = "squad"
)

// ChangeAlertID is the id of the alert about a test's numbers, whichever of
// them moved: a corrected number changes the alert, it never makes a second.
func ChangeAlertID(test schemas.TestID) string {
	return schemas.NewAlertID(FamilyChange, string(test))
}

// Alerts returns the alerts that follow from the fired rules of an assessed
// test: at most one about its numbers, and one each about its trace, its load,
// its HRmax and the other side (HRex lower, HRR greater). Text and Told are the
// caller's to fill in. History is as for [Evaluate].
func Alerts(a schemas.Assessment, o schemas.Outcome, history []schemas.Outcome, fired []schemas.FiredRule) []schemas.Alert {
	var out []schemas.Alert
	rule, changed := changeRule(fired)
	if changed {
		al := about(&o, rule, a.Version)
		al.ID = ChangeAlertID(o.TestID)
		if al.Urgency = schemas.Look; rule == schemas.RuleBoth {
			al.Urgency = schemas.LookNow
		}
		out = append(out, al)
	}
	for _, f := range fired {
		// Beside a change they are a line of its message, not a second alert.
		if family, ok := families[f.Rule]; ok && !changed {
			al := about(&o, f.Rule, a.Version)
			al.ID, al.Urgency = schemas.NewAlertID(family, string(o.TestID)), schemas.Routine
			out = append(out, al)
		}
		if f.Rule != schemas.RuleTraceInvalid {
			continue
		}
		// The fact is the run of bad traces; its second test made it one. A
		// third is the same fact and the same alert.
		if run := unusableRun(o, history); len(run) > 1 {
			al := about(&run[1], f.Rule, a.Version)
			al.ID = schemas.NewAlertID(FamilyTrace, string(run[0].TestID))
			al.Urgency = schemas.Routine
			out = append(out, al)
		}
	}
	return out
}

// families of the rules that make an alert of their own beside the change.
var families = map[schemas.RuleID]string{
	schemas.RuleOutsideBand: FamilyLoad, schemas.RuleHRmaxExceeded: FamilyHRmax, schemas.RuleEasier: FamilyEasier,
}

// changeRule returns the strongest rule about a test's numbers that fired:
// a single test's before tests running before drift. Both numbers by single
// rules are [schemas.RuleBoth].
func changeRule(fired []schemas.FiredRule) (rule schemas.RuleID, ok bool) {
	has := map[schemas.RuleID]bool{}
	for _, f := range fired {
		has[f.Rule] = true
	}
	if has[schemas.RuleHRexRisen] && has[schemas.RuleHRRWorsened] {
		return schemas.RuleBoth, true
	}
	for _, r := range []schemas.RuleID{
		schemas.RuleBoth, schemas.RuleHRexRisen, schemas.RuleHRRWorsened,
		schemas.RuleHRexRunning, schemas.RuleHRRRunning, schemas.RuleHRexDrift, schemas.RuleHRRDrift,
	} {
		if has[r] {
			return r, true
		}
	}
	return "", false
}

func about(o *schemas.Outcome, rule schemas.RuleID, v schemas.Version) schemas.Alert {
	return schemas.Alert{
		Rule: rule, TestID: o.TestID, FileID: o.FileID, Athlete: o.Athlete, Squad: o.Squad,
		Protocol: o.Protocol, Session: o.Session, About: o.Start, State: schemas.AlertOpen, Version: v,
	}
}

// Parked returns the alert about a file that could not be handled; ok is false
// when the file is not parked. Squad is the folder's owner, "" when unknown.
func Parked(f schemas.File) (alert schemas.Alert, ok bool) {
	if f.State != schemas.FileParked {
		return schemas.Alert{}, false
	}
	return schemas.Alert{
		ID: schemas.NewAlertID(FamilyParked, string(f.ID)), Rule: schemas.RuleFileParked,
		Urgency: schemas.Routine, FileID: f.ID, Squad: f.Origin.Squad, About: f.Origin.Seen,
		State: schemas.AlertOpen, Version: f.Version,
	}, true
}
