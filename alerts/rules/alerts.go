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
)

// ChangeAlertID is the id of the alert about a test's numbers, whichever of
// them moved: a corrected number changes the alert, it never makes a second.
func ChangeAlertID(test schemas.TestID) string {
	return schemas.NewAlertID(FamilyChange, string(test))
}

// Alerts returns the alerts that follow from the fired rules of an assessed
// test: at most one about its numbers and one about its trace. Text and Told
// are the caller's to fill in. History is as for [Evaluate].
func Alerts(a schemas.Assessment, o schemas.Outcome, history []schemas.Outcome, fired []schemas.FiredRule) []schemas.Alert {
	var out []schemas.Alert
	if rule, ok := changeRule(fired); ok {
		al := about(&o, rule, a.Version)
		al.ID = ChangeAlertID(o.TestID)
		if al.Urgency = schemas.Look; rule == schemas.RuleBoth {
			al.Urgency = schemas.LookNow
		}
		out = append(out, al)
	}
	for _, f := range fired {
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

// changeRule returns the strongest rule about a test's numbers that fired.
func changeRule(fired []schemas.FiredRule) (rule schemas.RuleID, ok bool) {
	var hrex, hrr bool
	for _, f := range fired {
		hrex = hrex || f.Rule == schemas.RuleHRexRisen || f.Rule == schemas.RuleBoth
		hrr = hrr || f.Rule == schemas.RuleHRRWorsened || f.Rule == schemas.RuleBoth
	}
	switch {
	case hrex && hrr:
		return schemas.RuleBoth, true
	case hrex:
		return schemas.RuleHRexRisen, true
	case hrr:
		return schemas.RuleHRRWorsened, true
	default:
		return "", false
	}
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
