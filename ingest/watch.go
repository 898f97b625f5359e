package ingest

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"github.com/fsnotify/fsnotify"
	"golang.org/x/sync/errgroup"
)

// Folder is a place to watch.
type Folder struct {
	// Path is absolute; Squad owns the folder, "" when paths name the squad.
	Path  string
	Squad string
	// Name is what the club file calls the folder, and origins after it; ""
	// for its path.
	Name string
}

// called is the folder's name in origins.
func (f *Folder) called() string {
	if f.Name != "" {
		return f.Name
	}
	return f.Path
}

// Config sets how folders are watched.
type Config struct {
	Folders []Folder
	// Settle is how long a file must be unchanged; Rescan how often folders are
	// listed whatever the events say; MaxSize in bytes.
	Settle  time.Duration
	Rescan  time.Duration
	MaxSize int64
	Log     *slog.Logger
	// Now is the clock; nil is time.Now. Seen is the one that origins are dated
	// by, nil for Now.
	Now  func() time.Time
	Seen func() time.Time
	// Meter is told what the watcher does; nil for nobody.
	Meter Meter
}

// Meter counts what the watcher does. Its methods are called from several
// goroutines.
type Meter interface {
	// Published: a file of size bytes, new to the archive, was stored there.
	Published(size int64)
	// Known: a finished file was found that the archive has.
	Known()
	// Failed: a file could not be read or published; it is tried again.
	Failed()
}

type noMeter struct{}

func (noMeter) Published(int64) {}
func (noMeter) Known()          {}
func (noMeter) Failed()         {}

// Watcher watches folders and publishes finished files.
type Watcher struct {
	cfg     Config
	log     *slog.Logger
	now     func() time.Time
	folders []*folder

	archive Archive
	mu      sync.Mutex
	has     broker.Archive // what is known of the archive
}

// folder is a watched folder with what is known of its files.
type folder struct {
	Folder
	mu      sync.Mutex // guards the fields below: scans and publishers meet here
	root    *os.Root   // nil while the folder can't be opened
	track   *tracker
	problem error // of the last scan; nil when all is well
	watched map[string]bool
}

// workers read and publish files at the same time, in one process.
const workers = 4

// debounce gathers a burst of events into one scan.
const debounce = 20 * time.Millisecond

// New returns a watcher over cfg's folders.
func New(cfg Config, archive Archive) *Watcher {
	w := &Watcher{cfg: cfg, archive: archive, log: cfg.Log, now: cfg.Now}
	if cfg.Meter == nil {
		w.cfg.Meter = noMeter{}
	}
	if w.now == nil {
		w.now = time.Now
	}
	if w.cfg.Seen == nil {
		w.cfg.Seen = w.now
	}
	for _, f := range cfg.Folders {
		w.folders = append(w.folders, &folder{Folder: f, track: newTracker(cfg.Settle), watched: map[string]bool{}})
	}
	return w
}

// Health returns nil when every folder could be listed at the last scan.
func (w *Watcher) Health() error {
	var errs []error
	for _, f := range w.folders {
		f.mu.Lock()
		if f.problem != nil {
			errs = append(errs, fmt.Errorf("folder %s: %w", f.Path, f.problem))
		}
		f.mu.Unlock()
	}
	return errors.Join(errs...)
}

// Run watches until ctx ends and returns nil then. A folder that can't be
// read, or is not there yet, is reported by [Watcher.Health] and tried again
// at every scan.
func (w *Watcher) Run(ctx context.Context) error {
	if err := w.loadArchived(ctx); err != nil {
		return err
	}
	events, err := fsnotify.NewWatcher()
	if err != nil {
		// Out of handles, say: scans alone do the job, later.
		w.log.Warn("ingest: no filesystem events, folders are only rescanned", "every", w.cfg.Rescan, "err", err)
	} else {
		defer func() { _ = events.Close() }()
	}
	defer w.closeFolders()

	jobs := make(chan job)
	g, ctx := errgroup.WithContext(ctx)
	finished := make(chan struct{}, 1)
	for range workers {
		g.Go(func() error {
			for j := range jobs {
				w.do(ctx, j)
				poke(finished)
			}
			return nil
		})
	}
	g.Go(func() error {
		defer close(jobs)
		w.loop(ctx, events, jobs, finished)
		return nil
	})
	return g.Wait()
}

// job is one finished file to publish.
type job struct {
	folder *folder
	path   string
	stamp  stamp
	last   bool
}

// loop scans when an event came, when a file is due, and every Rescan.
func (w *Watcher) loop(ctx context.Context, events *fsnotify.Watcher, jobs chan<- job, finished <-chan struct{}) {
	var hints <-chan fsnotify.Event
	var faults <-chan error
	if events != nil {
		hints, faults = events.Events, events.Errors
	}
	for {
		ready, wake := w.scanAll(events)
		for _, j := range ready {
			select {
			case jobs <- j:
			case <-ctx.Done():
				return
			}
		}
		wait := w.cfg.Rescan
		if !wake.IsZero() {
			wait = min(wait, max(wake.Sub(w.now()), 0))
		}
		timer := time.NewTimer(wait)
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-timer.C:
		case <-finished: // a failed one may be due again
		case err := <-faults:
			w.log.Warn("ingest: filesystem events lost, rescanning", "err", err)
		case <-hints:
			w.gather(ctx, hints)
		}
		timer.Stop()
	}
}

// gather waits out a burst of events; the scan that follows sees them all.
func (w *Watcher) gather(ctx context.Context, hints <-chan fsnotify.Event) {
	timer := time.NewTimer(debounce)
	defer timer.Stop()
	for {
		select {
		case <-hints:
		case <-timer.C:
			return
		case <-ctx.Done():
			return
		}
	}
}

// scanAll lists every folder and returns the files that are finished, oldest
// first, and when the next one is due.
func (w *Watcher) scanAll(events *fsnotify.Watcher) (ready []job, wake time.Time) {
	for _, f := range w.folders {
		r, next := w.scanFolder(f, events)
		ready = append(ready, r...)
		if !next.IsZero() && (wake.IsZero() || next.Before(wake)) {
			wake = next
		}
	}
	slices.SortFunc(ready, func(a, b job) int {
		if c := a.stamp.modified.Compare(b.stamp.modified); c != 0 {
			return c
		}
		if a.path < b.path {
			return -1
		}
		return 1
	})
	return ready, wake
}

func (w *Watcher) scanFolder(f *folder, events *fsnotify.Watcher) (ready []job, wake time.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	seen, err := f.list()
	if err == nil {
		err = seen.partial
	}
	w.noteProblem(f, err)
	if seen.files == nil {
		return nil, time.Time{}
	}
	now := w.now()
	paths, wake := f.track.observe(now, seen.files)
	if events != nil && f.watch(events, seen.dirs) {
		// A file may have come into a new folder between its listing and the
		// first event it could send: look again soon.
		if soon := now.Add(5 * debounce); wake.IsZero() || soon.Before(wake) {
			wake = soon
		}
	}
	for _, p := range paths {
		ready = append(ready, job{
			folder: f, path: p, stamp: seen.files[p],
			last: f.track.quietFor(p, now) >= patience*w.cfg.Settle,
		})
	}
	return ready, wake
}

// noteProblem logs a folder's trouble when it begins and when it ends.
func (w *Watcher) noteProblem(f *folder, err error) {
	switch {
	case err != nil && f.problem == nil:
		w.log.Error("ingest: folder can't be read; it is tried again at every scan", "folder", f.Path, "err", err)
	case err == nil && f.problem != nil:
		w.log.Info("ingest: folder is readable again", "folder", f.Path)
	}
	f.problem = err
}

// list opens the folder if need be and scans it. A folder that was replaced
// (a share mounted again) is opened anew: the old handle sees only the old one.
func (f *folder) list() (scanned, error) {
	if f.root != nil {
		here, err := f.root.Stat(".")
		there, err2 := os.Stat(f.Path)
		if err != nil || err2 != nil || !os.SameFile(here, there) {
			f.close()
		}
	}
	if f.root == nil {
		root, err := os.OpenRoot(f.Path)
		if err != nil {
			return scanned{}, err
		}
		f.root = root
	}
	s, err := scan(f.root.FS())
	if err != nil {
		f.close()
	}
	return s, err
}

func (f *folder) close() {
	if f.root != nil {
		_ = f.root.Close()
		f.root = nil
	}
	clear(f.watched)
}

// watch asks for events of directories that are new and reports whether there
// were any. Failing is no error: the rescan sees what events don't.
func (f *folder) watch(events *fsnotify.Watcher, dirs []string) (added bool) {
	for _, d := range dirs {
		if f.watched[d] {
			continue
		}
		if events.Add(filepath.Join(f.Path, filepath.FromSlash(d))) == nil {
			f.watched[d] = true
			added = true
		}
	}
	return added
}

// do publishes one file and records how it went.
func (w *Watcher) do(ctx context.Context, j job) {
	if ctx.Err() != nil {
		return
	}
	err := w.publish(ctx, j.folder, j.path, j.stamp, j.last)
	j.folder.mu.Lock()
	defer j.folder.mu.Unlock()
	track := j.folder.track
	switch {
	case err == nil:
		track.done(j.path, j.stamp)
	case errors.Is(err, errIncomplete), errors.Is(err, errChanged):
		track.again(j.path, j.stamp, w.now(), w.cfg.Settle)
	case ctx.Err() != nil:
		// Stopping: the next start finds the file again.
	default:
		w.cfg.Meter.Failed()
		delay := retryDelay(track.triesOf(j.path))
		w.log.Warn("ingest: will try the file again", "path", j.path, "delay", delay, "err", err)
		track.again(j.path, j.stamp, w.now(), delay)
	}
}

func (w *Watcher) closeFolders() {
	for _, f := range w.folders {
		f.mu.Lock()
		f.close()
		f.mu.Unlock()
	}
}

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
	nowhere       whereabouts = iota // new, or touched since its time was over
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
	case w.has.Files[msg.ID] && !touched:
		return inArchive
	case known && !touched:
		return beyondArchive
	default:
		// In the archive it may be still: whoever publishes it will hear.
		return nowhere
	}
}

func (w *Watcher) markArchived(id schemas.FileID) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.has.Files[id] = true
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

func poke(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
