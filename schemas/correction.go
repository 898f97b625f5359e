package schemas

import "time"

// CorrectionAction is what staff did to a test.
type CorrectionAction string

// Actions. Each is kept in the audit table for good.
const (
	// ActionExclude leaves the test out of baselines and withdraws its alerts.
	ActionExclude CorrectionAction = "exclude"
	// ActionAccept lets a doubtful test count.
	ActionAccept CorrectionAction = "accept"
	// ActionRestore takes back an exclude, an accept or a moved start.
	ActionRestore CorrectionAction = "restore"
	// ActionStart moves the start of the test by hand.
	ActionStart CorrectionAction = "start"
)

// Correction is one manual change, with who, when and why. It is an event,
// whichever way staff made it, and a row of the audit table.
type Correction struct {
	// ID is unique and sorts by time of making.
	ID     string           `json:"id"`
	TestID TestID           `json:"test_id"`
	FileID FileID           `json:"file_id"`
	Action CorrectionAction `json:"action"`
	// Start is the new start for ActionStart, zero otherwise.
	Start time.Time `json:"start,omitzero"`
	// Who made it, When, and Why in their own words.
	Who  string    `json:"who"`
	When time.Time `json:"when"`
	Why  string    `json:"why"`
}

// Ruling is the sum of a test's corrections: what holds now.
type Ruling struct {
	Verdict StaffVerdict
	// Start is the start set by hand, zero when none.
	Start time.Time
}

// Rule folds corrections of one test, in order of their ID, into what holds.
func Rule(cs []Correction) Ruling {
	var s Ruling
	for _, c := range cs {
		switch c.Action {
		case ActionExclude:
			s.Verdict = Excluded
		case ActionAccept:
			s.Verdict = Accepted
		case ActionRestore:
			s = Ruling{}
		case ActionStart:
			s.Start = c.Start
		}
	}
	return s
}
