package ingest

import (
	"context"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
)

// loadArchived learns what the archive has, so that a restart over a large
// folder publishes nothing twice and sends little.
func (w *Watcher) loadArchived(ctx context.Context) error {
	a, err := w.archive.Archived(ctx)
	if err != nil {
		return err
	}
	w.has = a
	return nil
}

// whereabouts is what the archive knows of a file.
type whereabouts uint8

const (
	nowhere       whereabouts = iota // new, touched since its time was over, or without its content
	inArchive                        // it has it
	beyondArchive                    // it had it, and the file is as it was
)

// whereIs returns where a file is. One that was touched after its time in the
// archive was over is new: somebody has put it there again.
func (w *Watcher) whereIs(msg broker.FileMessage) whereabouts {
	w.mu.Lock()
	defer w.mu.Unlock()
	last, known := w.has.Known[msg.ID]
	touched := known && msg.Origin.Modified.Truncate(time.Millisecond).After(last)
	switch {
	case touched || w.has.Bare[msg.ID]:
		// In the archive it may be still: whoever publishes it will hear.
		return nowhere
	case w.has.Files[msg.ID]:
		return inArchive
	case known:
		return beyondArchive
	default:
		return nowhere
	}
}

// isLost is whether the archive has word of a file and no content.
func (w *Watcher) isLost(id schemas.FileID) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.has.Bare[id]
}

func (w *Watcher) markArchived(id schemas.FileID) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.has.Files[id] = true
	delete(w.has.Bare, id)
}

// isNews notes that the archive has or had a file, and reports whether that
// has to be remembered.
func (w *Watcher) isNews(msg broker.FileMessage) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.has.Note(msg.ID, msg.Origin.Modified)
}

func (w *Watcher) forget(id schemas.FileID) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.has.Known, id)
}

func (w *Watcher) isPlace(subject string) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.has.Places[subject]
}

func (w *Watcher) markPlace(subject string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.has.Places[subject] = true
}
