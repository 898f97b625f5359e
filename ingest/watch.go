package ingest

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"sync/atomic"
	"time"

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

	// inHand are finished files that are not in the archive yet.
	inHand atomic.Int64

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
	// fresh are directories whose events are new: a file may have come into one
	// between its listing and the first event it could send, so that it is
	// listed again then.
	fresh map[string]time.Time
}

// workers read and publish files at the same time, in one process.
const workers = 4

// debounce gathers a burst of events into one look.
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
		w.folders = append(w.folders, &folder{Folder: f, track: newTracker(cfg.Settle), watched: map[string]bool{}, fresh: map[string]time.Time{}})
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

// Coming reports whether files were noticed that are not in the archive yet: they
// settle, wait for their turn, or are to be tried again.
func (w *Watcher) Coming() bool {
	for _, f := range w.folders {
		f.mu.Lock()
		n := len(f.track.waiting)
		f.mu.Unlock()
		if n > 0 {
			return true
		}
	}
	return w.inHand.Load() > 0
}

// Run watches until ctx ends and returns nil then. A folder that can't be
// read, or is not there yet, is reported by [Watcher.Health] and tried again
// at every scan.
func (w *Watcher) Run(ctx context.Context) error {
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
	g.Go(func() error {
		// The archive may be slow to answer. Folders are listed meanwhile, and files settle.
		if err := w.loadArchived(ctx); err != nil {
			if ctx.Err() != nil {
				return nil //nolint:nilerr // stopped before it began
			}
			return err
		}
		for range workers {
			g.Go(func() error {
				var room []byte
				for j := range jobs {
					w.do(ctx, j, &room)
					poke(finished)
				}
				return nil
			})
		}
		return nil
	})
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
}

// loop lists the folders every Rescan, which is the truth, and between that
// looks at what events name and at what is due: what a new file costs does not
// grow with those that are there.
func (w *Watcher) loop(ctx context.Context, events *fsnotify.Watcher, jobs chan<- job, finished <-chan struct{}) {
	var hints <-chan fsnotify.Event
	var faults <-chan error
	if events != nil {
		hints, faults = events.Events, events.Errors
	}
	w.listAll(ctx, events)
	rescan := time.NewTimer(w.cfg.Rescan)
	defer rescan.Stop()
	var queue []job
	for {
		ready, wake := w.finished(ctx, events)
		queue = append(queue, ready...)
		w.inHand.Add(int64(len(ready)))
		wait := w.cfg.Rescan
		if !wake.IsZero() {
			wait = min(wait, max(wake.Sub(w.now()), 0))
		}
		due := time.NewTimer(wait)
		var out chan<- job
		var next job
		if len(queue) > 0 {
			out, next = jobs, queue[0]
		}
		select {
		case <-ctx.Done():
			due.Stop()
			return
		case out <- next:
			queue = queue[1:]
		case <-due.C:
		case <-finished: // one that was given back may be due
		case <-rescan.C:
			w.listAll(ctx, events)
			rescan.Reset(w.cfg.Rescan)
		case err := <-faults:
			w.log.Warn("ingest: filesystem events lost, listing everything", "err", err)
			w.listAll(ctx, events)
		case e := <-hints:
			w.look(ctx, w.gather(ctx, e, hints), events)
		}
		due.Stop()
	}
}

// gather waits out a burst of events and returns the paths they name.
func (w *Watcher) gather(ctx context.Context, first fsnotify.Event, hints <-chan fsnotify.Event) map[string]bool {
	names := map[string]bool{first.Name: true}
	timer := time.NewTimer(debounce)
	defer timer.Stop()
	for {
		select {
		case e := <-hints:
			names[e.Name] = true
		case <-timer.C:
			return names
		case <-ctx.Done():
			return names
		}
	}
}

// do publishes one file and records how it went.
func (w *Watcher) do(ctx context.Context, j job, room *[]byte) {
	defer w.inHand.Add(-1)
	if ctx.Err() != nil {
		return
	}
	track := j.folder.track
	j.folder.mu.Lock()
	// It may have waited for its turn for long; reading it tells whether it is
	// still as it was.
	last := track.quietFor(j.path, j.stamp, w.now()) >= patience*w.cfg.Settle
	j.folder.mu.Unlock()
	err := w.publish(ctx, j.folder, j.path, j.stamp, last, room)
	j.folder.mu.Lock()
	defer j.folder.mu.Unlock()
	switch {
	case err == nil:
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

func poke(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
