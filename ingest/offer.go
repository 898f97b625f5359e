package ingest

import (
	"context"
	"errors"
	"fmt"

	"canter.example/schemas"
	"canter.example/schemas/broker"
)

// ErrRefused is returned by [Publish] for a file that the broker won't take; it
// says why.
var ErrRefused = errors.New("the file was not taken")

// Publish puts a file that did not come from a watched folder into the archive,
// as the watcher would: once, and with a further place of its own when the
// archive knows it, so that a parked file has another chance under a better
// name. Errors wrap [ErrRefused], or are worth a retry.
func Publish(ctx context.Context, a Archive, content []byte, o schemas.Origin) (schemas.FileID, error) {
	msg := broker.FileMessage{ID: schemas.NewFileID(content), Origin: o, Size: int64(len(content)), Content: content}
	known, err := a.PublishFile(ctx, msg)
	if errors.Is(err, broker.ErrTooLarge) {
		return msg.ID, fmt.Errorf("%w: %w", ErrRefused, err)
	}
	if err != nil || !known {
		return msg.ID, err
	}
	subject := schemas.SubjectOrigin + string(msg.ID) + "." + schemas.PathToken(o)
	_, err = a.PublishOnce(ctx, subject, schemas.OriginEvent{File: msg.ID, Origin: o})
	return msg.ID, err
}
