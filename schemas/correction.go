package schemas

import (
	"crypto/rand"
	"encoding/hex"
	"time"
)

// CorrectionAction is what staff did to a test or to a file.
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

	// ActionDrop lets go of what could not be handled of a file.
	ActionDrop CorrectionAction = "drop"
	// ActionRetry takes a drop back.
	ActionRetry CorrectionAction = "retry"
	// ActionAthlete says by hand whose a file, or a trace in it, is.
	// [ActionRestore] of a file takes this and a drop back.
	ActionAthlete CorrectionAction = "athlete"
)

// Correction is one manual change, with who, when and why. It is an event,
// whichever way staff made it, and a row of the audit table.
type Correction struct {
	// ID is unique and sorts by time of making.
	ID string `json:"id"`
	// TestID is "" when the correction is about the whole file.
	TestID TestID           `json:"test_id,omitempty"`
	FileID FileID           `json:"file_id"`
	Action CorrectionAction `json:"action"`
	// Part and Athlete are for ActionAthlete: the trace of the file that is
	// meant, "" for the only one in question, and the athlete's id.
	Part    string `json:"part,omitempty"`
	Athlete string `json:"athlete,omitempty"`
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
		case ActionDrop, ActionRetry, ActionAthlete: // of files
		}
	}
	return s
}

// FileRuling is the sum of a file's own corrections: what holds now.
type FileRuling struct {
	// Dropped: what could not be handled of the file is let go.
	Dropped bool
	// Athletes named by hand, by the part of the file; that of "" is whose the
	// only trace in question is. Nil when nobody was named.
	Athletes map[string]string
}

// RuleFile folds corrections of one file, in order of their ID, into what
// holds of the file. Those of its tests are passed over: see [Rule].
func RuleFile(cs []Correction) FileRuling {
	var r FileRuling
	for _, c := range cs {
		if c.TestID != "" {
			continue
		}
		switch c.Action {
		case ActionDrop:
			r.Dropped = true
		case ActionRetry:
			r.Dropped = false
		case ActionAthlete:
			r.Dropped = false
			if r.Athletes == nil {
				r.Athletes = map[string]string{}
			}
			r.Athletes[c.Part] = c.Athlete
		case ActionRestore:
			r = FileRuling{}
		case ActionExclude, ActionAccept, ActionStart: // of tests
		}
	}
	return r
}

// NewCorrectionID returns an id that is unique and sorts by time: the order of
// corrections is their order of making.
func NewCorrectionID(now time.Time) (string, error) {
	b := make([]byte, 4)
	if _, err := rand.Read(b); err != nil {
		return "", err
	}
	return "c" + now.UTC().Format("20060102T150405.000000000") + "-" + hex.EncodeToString(b), nil
}
