package staff

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"canter.example/schemas"
)

// Lengths that still fit an audit table and a message on a phone, in characters.
const (
	LongestReason = 500
	LongestNote   = 300
)

var (
	// ErrNoReason is returned for a change without a reason.
	ErrNoReason = errors.New("say why: it is kept in the audit")
	// ErrNoName is returned when nobody says who.
	ErrNoName = errors.New("say who: it is kept in the audit")
	// ErrEmpty is returned for a note without text.
	ErrEmpty = errors.New("the note is empty")
	// ErrTooLong is returned for a reason or note that is too long; it says by
	// how much.
	ErrTooLong = errors.New("too long")
	// ErrNoStart is returned for a moved start without one.
	ErrNoStart = errors.New("say where the test starts")
)

// Broker is what is needed of the broker.
type Broker interface {
	Publish(ctx context.Context, subject, id string, event any) error
}

// Desk is where staff's word goes off.
type Desk struct {
	Broker Broker
	// Now is the clock; nil is the machine's.
	Now func() time.Time
	// Key names a word that may be handed in twice, as a pressed button is: it
	// ends the id of what goes off (see [Taken]), and the broker takes it once
	// within its window. "" for a word that comes once.
	Key string
}

// Taken reports whether an id of a correction or note is that of the word with
// this key.
func Taken(id, key string) bool { return key != "" && strings.HasSuffix(id, "-"+key) }

// name returns the id of a word, and the one that the broker tells copies by.
func (d Desk) name(prefix string, now time.Time) (id, once string, err error) {
	made, err := schemas.NewCorrectionID(now)
	if err != nil {
		return "", "", err
	}
	id = prefix + made[1:]
	if d.Key == "" {
		return id, id, nil
	}
	return id[:strings.LastIndexByte(id, '-')] + "-" + d.Key, "word-" + d.Key, nil
}

// Change is what is to be done to a test.
type Change struct {
	Action schemas.CorrectionAction
	// Start is the new start for [schemas.ActionStart].
	Start    time.Time
	Who, Why string
}

// Correct sends a change of a test off. Errors: [ErrNoReason], [ErrNoName],
// [ErrTooLong], [ErrNoStart]; others are the broker's.
func (d Desk) Correct(ctx context.Context, o *schemas.Outcome, c Change) (schemas.Correction, error) {
	now := d.now()
	corr := schemas.Correction{TestID: o.TestID, FileID: o.FileID, Action: c.Action, Who: strings.TrimSpace(c.Who), When: now, Why: strings.TrimSpace(c.Why)}
	switch n := len([]rune(corr.Why)); {
	case corr.Why == "":
		return corr, ErrNoReason
	case corr.Who == "":
		return corr, ErrNoName
	case n > LongestReason:
		return corr, fmt.Errorf("the reason is %d characters long: %w, keep it to %d", n, ErrTooLong, LongestReason)
	case c.Action == schemas.ActionStart && c.Start.IsZero():
		return corr, ErrNoStart
	}
	if c.Action == schemas.ActionStart {
		corr.Start = c.Start
	}
	id, once, err := d.name("c", now)
	if err != nil {
		return corr, err
	}
	corr.ID = id
	return corr, d.Broker.Publish(ctx, schemas.SubjectCorrection+string(o.TestID), once, corr)
}

// Note sends off what somebody writes to an alert, or that they have seen it.
// A note may be empty when it says seen. Errors: [ErrEmpty], [ErrNoName],
// [ErrTooLong]; others are the broker's.
func (d Desk) Note(ctx context.Context, al *schemas.Alert, who string, seen bool, text string) (schemas.Note, error) {
	now := d.now()
	n := schemas.Note{AlertID: al.ID, Athlete: al.Athlete, Seen: seen, Text: strings.TrimSpace(text), Who: strings.TrimSpace(who), When: now}
	switch long := len([]rune(n.Text)); {
	case n.Text == "" && !seen:
		return n, ErrEmpty
	case n.Who == "":
		return n, ErrNoName
	case long > LongestNote:
		return n, fmt.Errorf("the note is %d characters long: %w, keep it to %d, it stands on later messages", long, ErrTooLong, LongestNote)
	}
	id, once, err := d.name("n", now)
	if err != nil {
		return n, err
	}
	n.ID = id
	return n, d.Broker.Publish(ctx, schemas.SubjectNote+al.ID, once, n)
}

func (d Desk) now() time.Time {
	if d.Now != nil {
		return d.Now().UTC()
	}
	return time.Now().UTC()
}
