package chat

import (
	"context"

	"canter.example/schemas"
)

// Poster is a chat.
type Poster interface {
	// Post sends m unless the chat already has a message with m.ID, and
	// returns the chat's reference of it. m.Attempts counts the attempts
	// begun before this one; m.Created bounds how far back an earlier one can
	// lie. Errors are or wrap [ErrTemporary] or [ErrRefused].
	Post(ctx context.Context, m schemas.Message) (ref string, err error)
	// Check verifies that the chat can be reached and the channels written to
	// and read back, without posting. Its errors are of the same two kinds,
	// joined when several channels fail.
	Check(ctx context.Context, channels []string) error
}
