package ingest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"syscall"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
)

// Archive is the broker as ingest needs it.
type Archive interface {
	// Archived lists the files and the places that the archive knows.
	Archived(ctx context.Context) (broker.Archive, error)
	// PublishFile stores a file unless it is known.
	PublishFile(ctx context.Context, f broker.FileMessage) (known bool, err error)
	// PublishOnce stores an event on a subject that holds one.
	PublishOnce(ctx context.Context, subject string, event any) (known bool, err error)
	// Remember keeps beyond the archive's time that a file was in it.
	Remember(ctx context.Context, id schemas.FileID, modified time.Time) error
}

// errIncomplete: the file is quiet but its format says that more must come.
var errIncomplete = errors.New("the file is not complete yet")

// errChanged: the file was changed while it was read.
var errChanged = errors.New("the file changed while it was read")

// roomMost bounds the memory that a worker keeps for its next file.
const roomMost = 4 << 20

// patience is how many settle times an incomplete file is given before it is
// taken as it is: a broken file must not wait for ever.
const patience = 10

// publish reads one finished file and puts it into the archive. last is true
// when an incomplete file is to be taken as it is.
//
// room is where it is read to, and what is left there for the next one.
func (w *Watcher) publish(ctx context.Context, f *folder, name string, want stamp, last bool, room *[]byte) error {
	msg, err := w.read(f, name, want, last, room)
	if err != nil {
		return err
	}
	switch w.whereIs(msg) {
	case inArchive:
		w.cfg.Meter.Known()
		return w.seenAgain(ctx, msg)
	case beyondArchive:
		w.cfg.Meter.Known()
		w.log.Debug("file known from before; its time in the archive is over", "file", msg.ID.Short(), "path", msg.Origin.Path)
		return nil
	case nowhere:
	}
	msg.Lost = w.isLost(msg.ID) // until this went well, however often it is tried
	known, err := w.archive.PublishFile(ctx, msg)
	if errors.Is(err, broker.ErrTooLarge) {
		// Parked with a reason instead: the scorer writes it down, staff are told.
		msg.Content, msg.Refused = nil, err.Error()+": raise it, or export a shorter file"
		known, err = w.archive.PublishFile(ctx, msg)
	}
	if err != nil {
		return err
	}
	w.markArchived(msg.ID)
	if err := w.remember(ctx, msg); err != nil {
		return err
	}
	if known {
		w.cfg.Meter.Known()
		return w.seenAgain(ctx, msg)
	}
	w.cfg.Meter.Published(msg.Size)
	w.log.Info("file published", "file", msg.ID.Short(), "path", msg.Origin.Path, "bytes", msg.Size)
	return nil
}

// seenAgain tells the scorer of another place of a known file, once a place.
func (w *Watcher) seenAgain(ctx context.Context, msg broker.FileMessage) error {
	if err := w.remember(ctx, msg); err != nil {
		return err
	}
	subject := schemas.SubjectOrigin + string(msg.ID) + "." + schemas.PathToken(msg.Origin)
	if w.isPlace(subject) {
		return nil
	}
	if _, err := w.archive.PublishOnce(ctx, subject, schemas.OriginEvent{File: msg.ID, Origin: msg.Origin}); err != nil {
		return err
	}
	w.markPlace(subject)
	return nil
}

// remember keeps for good that the archive has had this file, so that it does
// not come back by itself when its time there is over.
func (w *Watcher) remember(ctx context.Context, msg broker.FileMessage) error {
	if !w.isNews(msg) {
		return nil
	}
	if err := w.archive.Remember(ctx, msg.ID, msg.Origin.Modified); err != nil {
		w.forget(msg.ID)
		return err
	}
	return nil
}

// read opens the file below the folder's root, makes sure that it is the
// regular file that was listed, and reads it whole. A file over the size limit
// is hashed and refused, not held in memory. The content lies in room until that
// is used again.
func (w *Watcher) read(f *folder, name string, want stamp, last bool, room *[]byte) (broker.FileMessage, error) {
	root := f.open()
	if root == nil {
		return broker.FileMessage{}, fmt.Errorf("ingest: open %s: the folder is away", name)
	}
	// What was a file in the listing may be a pipe by now: opening one waits for
	// its other end, for ever, unless told not to.
	file, err := root.OpenFile(name, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return broker.FileMessage{}, fmt.Errorf("ingest: open %s: %w", name, err)
	}
	defer func() { _ = file.Close() }()
	if err := sameFile(file, want); err != nil {
		return broker.FileMessage{}, err
	}
	msg := broker.FileMessage{Size: want.size, Origin: schemas.Origin{
		Folder: f.called(), Path: name, Squad: f.Squad,
		Modified: want.modified.UTC(), Seen: w.cfg.Seen().UTC(),
	}}
	if want.size > w.cfg.MaxSize {
		h := sha256.New()
		if _, err := io.Copy(h, file); err != nil {
			return msg, fmt.Errorf("ingest: read %s: %w", name, err)
		}
		msg.ID = schemas.FileID(hex.EncodeToString(h.Sum(nil)))
		msg.Refused = fmt.Sprintf("the file has %d bytes, the limit is %d (files.max_size in the club file)", want.size, w.cfg.MaxSize)
		return msg, sameFile(file, want)
	}
	content := slices.Grow((*room)[:0], int(want.size)+1)[:want.size+1] // one more, to see that there is no more
	if want.size <= roomMost {
		*room = content
	}
	n, err := io.ReadFull(file, content)
	if err == nil {
		return msg, errChanged
	}
	if !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return msg, fmt.Errorf("ingest: read %s: %w", name, err)
	}
	if content = content[:n]; int64(n) != want.size {
		return msg, errChanged
	}
	if err := sameFile(file, want); err != nil {
		return msg, err
	}
	if !last && !complete(content) {
		return msg, errIncomplete
	}
	msg.ID, msg.Content = schemas.NewFileID(content), content
	return msg, nil
}

func sameFile(file *os.File, want stamp) error {
	info, err := file.Stat()
	if err != nil {
		return fmt.Errorf("ingest: %w", err)
	}
	if !info.Mode().IsRegular() {
		return fmt.Errorf("ingest: %s: %w", info.Name(), fs.ErrInvalid)
	}
	if (stamp{size: info.Size(), modified: info.ModTime()}) != want {
		return errChanged
	}
	return nil
}

// maxRetryDelay is the longest that retryDelay returns.
const maxRetryDelay = time.Minute

// retryDelay grows with the tries, up to a minute.
func retryDelay(tries int) time.Duration { return broker.Backoff(tries + 1) }
