package broker

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"canter.example/schemas"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// headerRefused marks a file message without content: ingest saw the file but
// could not take it, and says why. The scorer parks it.
const headerRefused = "Canter-Refused"

// FileMessage is a file as it travels.
type FileMessage struct {
	ID     schemas.FileID
	Origin schemas.Origin
	Size   int64
	// Content is the whole file; nil when Refused says why it could not be taken.
	Content []byte
	Refused string
	// Lost is whether the archive was found to have word of it and no content
	// (see Archive.Bare): it is to be scored again when it has.
	Lost bool

	room *[]byte // of Content, when it was unpacked into memory that is used again
}

// rooms are where files are unpacked to: memory that is used again need be
// neither cleared nor tidied up.
var rooms = sync.Pool{New: func() any { return new([]byte) }}

// roomMost bounds what is kept for another file.
const roomMost = 4 << 20

// Forget gives the memory of the content to the next file, if it came from the
// archive. Nobody may look at it any more.
func (f *FileMessage) Forget() {
	if f.room != nil && cap(f.Content) <= roomMost {
		*f.room = f.Content[:0]
		rooms.Put(f.room)
	}
	f.room, f.Content = nil, nil
}

// zipped are where files are compressed to. A file's own hash checks what comes
// out at the other end, so that the compression keeps no sum of its own.
var zipped = sync.Pool{New: func() any { return new([]byte) }}

// PublishFile puts a file into the archive: its content, compressed, then word
// of it, both named by its hash. known is true when the archive had word of it
// already. A lost content is there again then, and the file is asked to be scored
// once more.
// Errors: [ErrTooLarge]; others are worth a retry.
func (b *Broker) PublishFile(ctx context.Context, f FileMessage) (known bool, err error) {
	m := nats.NewMsg(schemas.SubjectFile + string(f.ID))
	origin, err := json.Marshal(f.Origin)
	if err != nil {
		return false, fmt.Errorf("broker: origin of %s: %w", f.Origin.Path, err)
	}
	m.Header.Set(schemas.HeaderOrigin, string(origin))
	m.Header.Set(schemas.HeaderSize, strconv.FormatInt(f.Size, 10))
	if f.Refused != "" {
		m.Header.Set(headerRefused, oneLine(f.Refused))
	} else {
		m.Header.Set(schemas.HeaderEncoding, "zstd")
		if err := b.publishContent(ctx, f); err != nil {
			return false, err
		}
		if b.handing.Load() {
			b.handover.give(ctx, f.ID, f.Content)
		}
	}
	known, err = b.publishFirst(ctx, m)
	if known || err != nil {
		b.handover.drop(f.ID) // nobody comes for it
	}
	if err != nil {
		return false, fmt.Errorf("broker: publish %s: %w", f.Origin.Path, err)
	}
	if known && f.Lost && f.Refused == "" {
		err = b.Publish(ctx, schemas.SubjectRescore+string(f.ID), "", schemas.RescoreEvent{File: f.ID, Cause: "its content was put into the archive anew"})
	}
	return known, err
}

// publishContent stores the bytes of a file, unless they are there.
func (b *Broker) publishContent(ctx context.Context, f FileMessage) error {
	buffer, _ := zipped.Get().(*[]byte)
	defer zipped.Put(buffer) // the client has copied it when it answers
	*buffer = b.pack(f.Content, (*buffer)[:0])
	m := &nats.Msg{Subject: schemas.SubjectContent + string(f.ID), Data: *buffer}
	if limit := b.nc.MaxPayload(); int64(m.Size()) > limit {
		return fmt.Errorf("%w: %d bytes after compression, the broker's max_payload is %d", ErrTooLarge, len(m.Data), limit)
	}
	if _, err := b.publishFirst(ctx, m); err != nil {
		return fmt.Errorf("broker: publish the content of %s: %w", f.Origin.Path, err)
	}
	return nil
}

// publishFirst stores a message unless its subject has one, which it reports with
// known.
func (b *Broker) publishFirst(ctx context.Context, m *nats.Msg) (known bool, err error) {
	_, err = b.js.PublishMsg(ctx, m, jetstream.WithExpectLastSequencePerSubject(0))
	b.pulse.note(ctx, b.nc, err)
	if isWrongLastSequence(err) {
		return true, nil
	}
	return false, err
}

// Archive is what is known of files without reading them.
type Archive struct {
	// Files are those the archive has word of. Places are subjects: where a file
	// was seen again.
	Files  map[schemas.FileID]bool
	Places map[string]bool
	// Bare are files without a content of their own: they were refused, a power
	// loss took it, or it lies with the word of them, as it did until November 2026.
	Bare map[schemas.FileID]bool
	// Known are files that are or were in the archive, with the latest time of
	// modification they were seen with.
	Known map[schemas.FileID]time.Time
}

// Archived lists what the archive holds and held.
func (b *Broker) Archived(ctx context.Context) (Archive, error) {
	a := Archive{Files: map[schemas.FileID]bool{}, Places: map[string]bool{}, Bare: map[schemas.FileID]bool{}, Known: map[schemas.FileID]time.Time{}}
	content := map[schemas.FileID]bool{}
	for _, part := range []struct {
		stream, prefix string
		note           func(rest string)
	}{
		// Files before their content, which is stored first: one that comes while
		// this goes on is not taken for bare.
		{schemas.StreamInput, schemas.SubjectFile, func(id string) { a.Files[schemas.FileID(id)] = true }},
		{schemas.StreamContent, schemas.SubjectContent, func(id string) { content[schemas.FileID(id)] = true }},
		{schemas.StreamInput, schemas.SubjectOrigin, func(rest string) { a.Places[schemas.SubjectOrigin+rest] = true }},
		{schemas.StreamKnown, schemas.SubjectKnown, func(rest string) {
			id, ms, _ := strings.Cut(rest, ".")
			if n, err := strconv.ParseInt(ms, 10, 64); err == nil {
				a.Note(schemas.FileID(id), time.UnixMilli(n))
			}
		}},
	} {
		s, err := b.js.Stream(ctx, part.stream)
		if err != nil {
			return a, fmt.Errorf("broker: archive: %w", err)
		}
		info, err := s.Info(ctx, jetstream.WithSubjectFilter(part.prefix+">"))
		if err != nil {
			return a, fmt.Errorf("broker: list the archive: %w", err)
		}
		for subject := range info.State.Subjects {
			part.note(strings.TrimPrefix(subject, part.prefix))
		}
	}
	for id := range a.Files {
		if !content[id] {
			a.Bare[id] = true
		}
	}
	return a, nil
}

// Note adds a file to those known, and reports whether that is news: it was not
// known, or only with an earlier time of modification.
func (a *Archive) Note(id schemas.FileID, modified time.Time) bool {
	modified = modified.Truncate(time.Millisecond)
	if last, ok := a.Known[id]; ok && !modified.After(last) {
		return false
	}
	a.Known[id] = modified
	return true
}

// Remember keeps for good that a file was in the archive, and when it had been
// modified.
func (b *Broker) Remember(ctx context.Context, id schemas.FileID, modified time.Time) error {
	subject := schemas.SubjectKnown + string(id) + "." + strconv.FormatInt(modified.UnixMilli(), 10)
	_, err := b.js.Publish(ctx, subject, nil)
	b.pulse.note(ctx, b.nc, err)
	if err != nil {
		return fmt.Errorf("broker: publish on %s: %w", subject, err)
	}
	return nil
}

func isWrongLastSequence(err error) bool {
	var api *jetstream.APIError
	return errors.As(err, &api) && api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequence
}

// File reads a file back from the archive. Errors: [ErrNoFile].
func (b *Broker) File(ctx context.Context, id schemas.FileID, limit int64) (FileMessage, error) {
	s, err := b.js.Stream(ctx, schemas.StreamInput)
	if err != nil {
		return FileMessage{}, fmt.Errorf("broker: archive: %w", err)
	}
	m, err := s.GetLastMsgForSubject(ctx, schemas.SubjectFile+string(id))
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return FileMessage{}, fmt.Errorf("%w: %s", ErrNoFile, id.Short())
	}
	if err != nil {
		return FileMessage{}, fmt.Errorf("broker: read %s from the archive: %w", id.Short(), err)
	}
	f, err := fileHead(m.Subject, m.Header, limit)
	if err != nil {
		return f, err
	}
	if f.Refused == "" {
		return b.fileBody(ctx, f, m.Data)
	}
	if f.Size > limit {
		return f, nil
	}
	// A limit that it was refused for may have been raised, and its content stored since.
	whole, err := b.fileBody(ctx, f, nil)
	if errors.Is(err, ErrNoFile) {
		return f, nil
	}
	whole.Refused = ""
	return whole, err
}

// Superseded reports whether a later event on the subject of one of
// [schemas.StreamInput] is there: whoever handles that one sees all that this one
// was published for.
func (b *Broker) Superseded(ctx context.Context, d *Delivery) (bool, error) {
	m, err := b.streams[schemas.StreamInput].GetLastMsgForSubject(ctx, d.Subject)
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("broker: last event on %s: %w", d.Subject, err)
	}
	return schemas.NewVersion(b.created[schemas.StreamInput], m.Sequence) > d.Version, nil
}

// FileOf reads the file out of a delivery on [schemas.SubjectFile]. A file
// that is larger than limit once unpacked, or whose bytes are not what its
// name says, gives [ErrMessage]; one whose content is missing [ErrNoFile]. What is
// said of the file is there in either case.
func (b *Broker) FileOf(ctx context.Context, d *Delivery, limit int64) (FileMessage, error) {
	f, err := fileHead(d.Subject, d.Header, limit)
	if err != nil || f.Refused != "" {
		return f, err
	}
	if room := b.handover.take(f.ID); room != nil {
		if int64(len(*room)) == f.Size {
			f.room, f.Content = room, *room
			return f, nil
		}
		rooms.Put(room)
	}
	return b.fileBody(ctx, f, d.Data)
}

// fileHead reads what is said of a file; its size is within the limit.
func fileHead(subject string, h nats.Header, limit int64) (FileMessage, error) {
	f := FileMessage{ID: schemas.FileID(strings.TrimPrefix(subject, schemas.SubjectFile)), Refused: h.Get(headerRefused)}
	if err := json.Unmarshal([]byte(h.Get(schemas.HeaderOrigin)), &f.Origin); err != nil {
		return f, fmt.Errorf("%w: its origin: %w", ErrMessage, err)
	}
	size, err := strconv.ParseInt(h.Get(schemas.HeaderSize), 10, 64)
	if err != nil || size < 0 {
		return f, fmt.Errorf("%w: its size header %q", ErrMessage, h.Get(schemas.HeaderSize))
	}
	f.Size = size
	if f.Refused != "" {
		return f, nil
	}
	if size > limit {
		return f, fmt.Errorf("%w: %d bytes unpacked, the limit is %d", ErrMessage, size, limit)
	}
	return f, nil
}

// fileBody unpacks a file's content, which is data where an archive has it beside
// the word of the file.
func (b *Broker) fileBody(ctx context.Context, f FileMessage, data []byte) (_ FileMessage, err error) {
	if len(data) == 0 {
		m, err := b.streams[schemas.StreamContent].GetLastMsgForSubject(ctx, schemas.SubjectContent+string(f.ID))
		if errors.Is(err, jetstream.ErrMsgNotFound) {
			return f, fmt.Errorf("%w: the content of %s, whose place was %s", ErrNoFile, f.ID.Short(), f.Origin.Path)
		}
		if err != nil {
			return f, fmt.Errorf("broker: read the content of %s from the archive: %w", f.ID.Short(), err)
		}
		data = m.Data
	}
	// The declared size bounds what is unpacked: the header can't promise
	// little and the body deliver much.
	f.room, _ = rooms.Get().(*[]byte)
	if f.Content, err = b.unpack(data, f.Size, *f.room); err != nil {
		return f, fmt.Errorf("%w: %w", ErrMessage, err)
	}
	if got := schemas.NewFileID(f.Content); got != f.ID {
		return f, fmt.Errorf("%w: its bytes hash to %s, its name says %s", ErrMessage, got.Short(), f.ID.Short())
	}
	return f, nil
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

func parseURL(s string) (string, error) {
	var out []string
	for one := range strings.SplitSeq(s, ",") { // a cluster has several
		u, err := url.Parse(strings.TrimSpace(one))
		if err != nil {
			return "", err
		}
		u.User = nil
		out = append(out, u.String())
	}
	return strings.Join(out, ","), nil
}
