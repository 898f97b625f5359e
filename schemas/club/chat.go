package club

import "time"

// ChatKind is the kind of chat.
type ChatKind string

// Chats.
const (
	ChatTerminal ChatKind = "terminal"
	ChatSlack    ChatKind = "slack"
	// ChatWebhook posts plain JSON to a secret address.
	ChatWebhook ChatKind = "webhook"
)

// Telling says which sessions are told.
type Telling string

// Kinds of telling.
const (
	// TellAll: one message a session, whoever stands out.
	TellAll Telling = "all"
	// TellAlerts: sessions with somebody or something to look at.
	TellAlerts Telling = "alerts"
)

// InDoubt is what a chat that can't be asked does when nobody knows whether a
// message arrived.
type InDoubt string

// Kinds of doubt.
const (
	// Repeat may tell twice and never loses, Drop never tells twice and may lose.
	Repeat InDoubt = "repeat"
	Drop   InDoubt = "drop"
)

// ChatUser is a member of staff who may use the buttons.
type ChatUser struct {
	// User is the chat's own id of them, Name what goes into the audit.
	User, Name string
}

// Digest says when digests go out.
type Digest struct {
	// Weekly and Monthly are five-field cron expressions in the club's zone,
	// "" for never.
	Weekly, Monthly string
	// Channel of all digests, "" for each squad's own.
	Channel string
}

// Chat is where messages go.
type Chat struct {
	Kind ChatKind
	// Channel is the default channel, and that of messages about files.
	Channel string
	// TokenEnv or TokenFile hold the secret; it is never in the club file.
	TokenEnv  string
	TokenFile string
	// APIURL overrides the Web API's address, for a proxy or a test server.
	APIURL string
	// Hold is how long a session must be quiet before it is told, so that the
	// files of one session make one message; 0 tells each test at once.
	Hold time.Duration
	// Sessions says which sessions are told; "" is [TellAlerts].
	Sessions Telling
	// Pictures is how many alerts of a session are answered one by one, with
	// pictures.
	Pictures int
	// AppTokenEnv or AppTokenFile hold the secret with which presses of buttons
	// are listened for; messages have buttons when one is given and somebody
	// may press them.
	AppTokenEnv  string
	AppTokenFile string
	Staff        []ChatUser
	// InDoubt is for chats that can't be asked what they have.
	InDoubt InDoubt
}

// Buttons reports whether messages have buttons.
func (c *Chat) Buttons() bool {
	return c.Kind == ChatSlack && (c.AppTokenEnv != "" || c.AppTokenFile != "") && len(c.Staff) > 0
}

// StaffName returns the name of a member of staff by the chat's id of them,
// "" for everybody else.
func (c *Chat) StaffName(user string) string {
	for _, u := range c.Staff {
		if u.User == user {
			return u.Name
		}
	}
	return ""
}
