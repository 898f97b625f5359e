package ingest

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/fsnotify/fsnotify"
)

// listAll lists every folder.
func (w *Watcher) listAll(ctx context.Context, events *fsnotify.Watcher) {
	for _, f := range w.folders {
		f.mu.Lock()
		seen, err := f.list(ctx)
		if err == nil {
			err = seen.partial
		}
		w.noteProblem(f, err)
		if seen.files != nil {
			now := w.now()
			clear(f.fresh) // what was new is listed now
			f.track.all(now, seen.files)
			f.watch(events, seen.dirs, now)
		}
		f.mu.Unlock()
	}
}

// look takes the state of the paths that events name.
func (w *Watcher) look(ctx context.Context, names map[string]bool, events *fsnotify.Watcher) {
	for _, f := range w.folders {
		f.mu.Lock()
		for name := range names {
			if rel, ok := below(f.Path, name); ok {
				f.look(ctx, rel, events, w.now())
			}
		}
		f.mu.Unlock()
	}
}

// below returns a path as it is called inside a folder, false when it is not
// inside it.
func below(folder, name string) (string, bool) {
	rel, err := filepath.Rel(folder, name)
	if err != nil || !filepath.IsLocal(rel) {
		return "", false
	}
	return filepath.ToSlash(rel), true
}

// finished returns the files that are finished, oldest first, and when the next
// one is due. Each is looked at once more before it is handed out.
func (w *Watcher) finished(ctx context.Context, events *fsnotify.Watcher) (ready []job, wake time.Time) {
	for _, f := range w.folders {
		r, next := w.finishedIn(ctx, f, events)
		ready = append(ready, r...)
		if !next.IsZero() && (wake.IsZero() || next.Before(wake)) {
			wake = next
		}
	}
	slices.SortFunc(ready, func(a, b job) int {
		if c := a.stamp.modified.Compare(b.stamp.modified); c != 0 {
			return c
		}
		return strings.Compare(a.path, b.path)
	})
	return ready, wake
}

func (w *Watcher) finishedIn(ctx context.Context, f *folder, events *fsnotify.Watcher) (ready []job, wake time.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	now := w.now()
	freshest := f.lookFresh(ctx, events, now)
	due, _ := f.track.due(now)
	for _, p := range due {
		if !f.track.sawAt(now, p) { // its directory may just have been listed
			f.look(ctx, p, events, now)
		}
	}
	paths, wake := f.track.take(now)
	for _, p := range paths {
		ready = append(ready, job{folder: f, path: p, stamp: f.track.files[p].stamp})
	}
	if !freshest.IsZero() && (wake.IsZero() || freshest.Before(wake)) {
		wake = freshest
	}
	return ready, wake
}

// lookFresh lists the directories whose events are no longer new and returns
// when the next one's will be so.
func (f *folder) lookFresh(ctx context.Context, events *fsnotify.Watcher, now time.Time) (wake time.Time) {
	var due []string
	for dir, at := range f.fresh {
		switch {
		case !at.After(now), at.After(now.Add(freshFor)): // the latter when the clock was put back
			due = append(due, dir)
			delete(f.fresh, dir)
		case wake.IsZero() || at.Before(wake):
			wake = at
		}
	}
	slices.Sort(due)
	last := ""
	for _, dir := range due {
		if last == "." || last != "" && strings.HasPrefix(dir, last+"/") {
			continue // listed with the one it is in
		}
		f.look(ctx, dir, events, now)
		last = dir
	}
	return wake
}

// look takes the state of one path of a folder: a file, a directory with all
// that is in it, or nothing any more. What can't be looked at is left to the
// next listing, which says why.
func (f *folder) look(ctx context.Context, rel string, events *fsnotify.Watcher, now time.Time) {
	if f.root == nil || !f.isPlain(rel) {
		return
	}
	info, err := f.root.Lstat(rel)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		f.leave(rel)
	case err != nil:
	case info.IsDir():
		seen, err := scan(ctx, f.root.FS(), rel)
		if err != nil {
			return
		}
		for name, s := range seen.files {
			f.track.saw(now, name, s)
		}
		f.watch(events, seen.dirs, now)
	case info.Mode().IsRegular():
		f.track.saw(now, rel, stamp{size: info.Size(), modified: info.ModTime()})
	default:
		f.leave(rel)
	}
}

// isPlain reports whether a path is one that a listing would show: no name on
// the way is hidden or unfinished, and each is a directory, not a link to one.
func (f *folder) isPlain(rel string) bool {
	if rel == "." {
		return true
	}
	for dir := path.Dir(rel); dir != "."; dir = path.Dir(dir) {
		if unfinishedName(path.Base(dir)) {
			return false
		}
		if info, err := f.root.Lstat(dir); err == nil && !info.IsDir() {
			return false
		}
	}
	return !unfinishedName(path.Base(rel))
}

// leave forgets a path and what was below it.
func (f *folder) leave(rel string) {
	f.track.gone(rel)
	for dir := range f.watched {
		if dir == rel || strings.HasPrefix(dir, rel+"/") {
			delete(f.watched, dir) // one that comes back is another one
		}
	}
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

// list opens the folder if need be and lists it. A folder that was replaced
// (a share mounted again) is opened anew: the old handle sees only the old one.
func (f *folder) list(ctx context.Context) (scanned, error) {
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
	s, err := scan(ctx, f.root.FS(), ".")
	if err != nil {
		f.close()
	}
	return s, err
}

// open returns the folder as it is open now, nil while it is away. Files are
// read beside the listings, which may close it meanwhile: reading fails then.
func (f *folder) open() *os.Root {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.root
}

func (f *folder) close() {
	if f.root != nil {
		_ = f.root.Close()
		f.root = nil
	}
	clear(f.watched)
	clear(f.fresh)
}

// freshFor is how soon a directory is listed again after its events began.
const freshFor = 5 * debounce

// watch asks for events of directories that are new. Failing is no error: the
// rescan sees what events don't.
func (f *folder) watch(events *fsnotify.Watcher, dirs []string, now time.Time) {
	if events == nil {
		return
	}
	for _, d := range dirs {
		if f.watched[d] {
			continue
		}
		if events.Add(filepath.Join(f.Path, filepath.FromSlash(d))) == nil {
			f.watched[d] = true
			f.fresh[d] = now.Add(freshFor)
		}
	}
}
