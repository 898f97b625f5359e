package chat

import (
	"context"
	"time"

	"canter.example/schemas"
)

// Post is a message of the outbox, with what goes with it in a chat that can
// show it.
type Post struct {
	schemas.Message
	// Parts are the message's text in pieces that buttons stand under; empty
	// when there are no buttons.
	Parts []Part
	// Pictures stand under the text.
	Pictures []Picture
}

// Part is a piece of a message's text with the buttons under it.
type Part struct {
	Text    string
	Buttons []Button
}

// Button is something that staff can do about an alert.
type Button struct {
	Action Action
	// About names the alert and its test, which may be "".
	Alert string
	Test  schemas.TestID
}

// Picture is a PNG with its text for whoever can't see it.
type Picture struct {
	Title, Alt string
	PNG        []byte
}

// Poster is a chat.
type Poster interface {
	// Post sends p unless the chat already has a message with p.ID, and
	// returns the chat's reference of it. p.Attempts counts the attempts
	// begun before this one. An earlier one is found by p.ID; p.Created, which a
	// clock that is off makes wrong, only says how far it is worth looking. A picture that can't be shown never holds the text back. Errors are
	// or wrap [ErrTemporary] or [ErrRefused].
	Post(ctx context.Context, p Post) (ref string, err error)
	// Check verifies that the chat can be reached and the channels written to
	// and read back, without posting. Its errors are of the same two kinds,
	// joined when several channels fail.
	Check(ctx context.Context, channels []string) error
}

// Editor is a chat whose messages can be changed after they were sent.
type Editor interface {
	// Edit makes the message with the reference read as p. Doing so twice is
	// doing it once. Errors are as for [Poster].
	Edit(ctx context.Context, ref string, p Post) error
}

// Pacer is a chat that takes only so many messages of one channel in a time. Who
// asks first can send elsewhere meanwhile.
type Pacer interface {
	// Pause returns how long a new message to a channel, or a change of one
	// there, would have to wait now; 0 for none.
	Pause(channel string, change bool) time.Duration
}

// Illustrator is a chat that shows pictures.
type Illustrator interface {
	// ShowsPictures tells whether it is worth drawing them.
	ShowsPictures() bool
}
