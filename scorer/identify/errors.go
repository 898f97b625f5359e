package identify

import "strings"

// Unidentified is the error of [Who]: the file is parked with this text. It
// names athletes by their ids, as it goes to chat.
type Unidentified struct {
	// Reason says why nobody could be named, Hint what to do.
	Reason string
	Hint   string
	// Candidates are ids of athletes that may be meant, nearest first; often empty.
	Candidates []string
}

// Error returns the reason, who may be meant, and what to do.
func (u *Unidentified) Error() string {
	s := u.Reason
	if len(u.Candidates) > 0 && !strings.Contains(u.Reason, u.Candidates[0]) {
		s += " (perhaps " + strings.Join(u.Candidates, " or ") + ")"
	}
	return s + ". " + u.Hint
}

func refuse(reason, hint string, candidates ...string) error {
	return &Unidentified{Reason: reason, Hint: hint, Candidates: candidates}
}
