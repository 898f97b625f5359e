package schemas

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"time"
)

// Urgency orders alerts for people; it says nothing about anybody's health.
type Urgency string

// Urgencies.
const (
	Routine Urgency = "routine"
	Look    Urgency = "look"
	LookNow Urgency = "look first"
)

// AlertState is where an alert is in its life.
type AlertState string

// States of an alert.
const (
	AlertOpen      AlertState = "open"
	AlertSeen      AlertState = "seen"
	AlertClosed    AlertState = "closed"
	AlertWithdrawn AlertState = "withdrawn"
	// AlertLapsed: nothing came within six weeks to show whether it still holds.
	AlertLapsed AlertState = "lapsed"
)

// Alert is one thing that staff are told, once.
type Alert struct {
	// ID is derived from what the alert is about; see [NewAlertID].
	ID       string  `json:"id"`
	Rule     RuleID  `json:"rule"`
	Urgency  Urgency `json:"urgency"`
	TestID   TestID  `json:"test_id,omitempty"`
	FileID   FileID  `json:"file_id,omitempty"`
	Athlete  string  `json:"athlete,omitempty"`
	Squad    string  `json:"squad"`
	Protocol string  `json:"protocol,omitempty"`
	Session  string  `json:"session,omitempty"`
	// About is the time of the test, file or slot the alert is about.
	About time.Time  `json:"about"`
	State AlertState `json:"state"`
	// Told is false when the alert was recorded without a message, as for
	// tests older than the club wants to hear of; Text is what was or would
	// have been said.
	Told    bool    `json:"told"`
	Text    string  `json:"text"`
	Version Version `json:"version"`
}

// NewAlertID derives an alert's id from its subject, so that the same fact
// found twice is the same alert. The parts are the rule family and the ids it
// is about.
func NewAlertID(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return "a" + hex.EncodeToString(sum[:8])
}

// MessageState is where a message is in the outbox.
type MessageState string

// States of a message.
const (
	// MessagePending: to be sent, or perhaps sent by a process that died
	// before it could say so; look in the chat before sending again.
	MessagePending MessageState = "pending"
	MessageSent    MessageState = "sent"
	// MessageFailed: the chat refused it for good; the reason is kept.
	MessageFailed MessageState = "failed"
)

// Message is one row of the outbox: what goes to a chat channel.
type Message struct {
	// ID is unique for good, and travels in the chat message's metadata.
	ID      string `json:"id"`
	AlertID string `json:"alert_id"`
	Channel string `json:"channel"`
	// Thread is the ID of the message this one answers, "" for a new one.
	Thread string       `json:"thread,omitempty"`
	Text   string       `json:"text"`
	State  MessageState `json:"state"`
	// Reference is the chat's own name of the sent message (Slack's ts).
	Reference string    `json:"reference,omitempty"`
	Reason    string    `json:"reason,omitempty"`
	Created   time.Time `json:"created"`
	Sent      time.Time `json:"sent,omitzero"`
	Attempts  int       `json:"attempts"`
	// Session whose alerts it speaks of, "" for other messages, and what it
	// says of each: the outbox is the record of what staff were told.
	Session string   `json:"session,omitempty"`
	Says    []Saying `json:"says,omitempty"`
}

// Turn is a turn in an alert's life that staff hear of.
type Turn string

// Turns.
const (
	TurnTold      Turn = "told"
	TurnCorrected Turn = "corrected"
	TurnWithdrawn Turn = "withdrawn"
	TurnAgain     Turn = "holds again"
	TurnClosed    Turn = "back inside"
	// TurnDetail: the numbers and pictures of what a session's message told in a
	// line.
	TurnDetail Turn = "in detail"
	// TurnChanged: a message that was sent reads otherwise from now on.
	TurnChanged Turn = "changed"
	// TurnListed: named in a message, for what can be done about it; nothing new
	// is said. Its number is 0.
	TurnListed Turn = "listed"
)

// Saying is what a message says of one alert. The first of a session's message
// is about that message itself, and a later one of [TurnChanged] says that it
// reads otherwise; what is listed may be a test that no alert is about.
type Saying struct {
	// Alert is the id of an alert, of a session's message, or of a test.
	Alert string `json:"alert"`
	// Number of the saying among all about this alert, from 1.
	Number int  `json:"number"`
	Turn   Turn `json:"turn"`
	// Digest is what was said in short; a correction is due when it changes.
	Digest string `json:"digest,omitempty"`
}

// Note is what a member of staff wrote to an alert, or that they have seen it.
type Note struct {
	// ID is unique and sorts by time of making.
	ID      string    `json:"id"`
	AlertID string    `json:"alert_id"`
	Athlete string    `json:"athlete,omitempty"`
	Seen    bool      `json:"seen"`
	Text    string    `json:"text,omitempty"`
	Who     string    `json:"who"`
	When    time.Time `json:"when"`
}
