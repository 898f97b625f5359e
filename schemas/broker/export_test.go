package broker

import (
	"context"
	"strconv"

	"canter.example/schemas"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// IsAstray is isAstray.
var IsAstray = isAstray

// SetAstray has another opinion of consumers from the start.
func (b *Broker) SetAstray(f func(*jetstream.ConsumerInfo, *jetstream.StreamInfo) bool) { b.astray = f }

// LoseContent takes a file's content out of the archive, as a power loss may.
func (b *Broker) LoseContent(ctx context.Context, id schemas.FileID) error {
	_, err := b.deleteAll(ctx, []messages{{schemas.StreamContent, []string{schemas.SubjectContent + string(id)}}})
	return err
}

// PublishOldForm publishes a file as it was until November 2026: its content with
// the word of it.
func (b *Broker) PublishOldForm(ctx context.Context, f FileMessage) error {
	m := nats.NewMsg(schemas.SubjectFile + string(f.ID))
	m.Header.Set(schemas.HeaderOrigin, `{"folder":"`+f.Origin.Folder+`","path":"`+f.Origin.Path+`","seen":"2026-09-01T10:00:00Z"}`)
	m.Header.Set(schemas.HeaderSize, strconv.FormatInt(f.Size, 10))
	m.Header.Set(schemas.HeaderEncoding, "zstd")
	m.Data = b.zip.EncodeAll(f.Content, nil)
	_, err := b.js.PublishMsg(ctx, m)
	return err
}

// DropContent takes away the stream that older canters did not have.
func (b *Broker) DropContent(ctx context.Context) error {
	return b.js.DeleteStream(ctx, schemas.StreamContent)
}
