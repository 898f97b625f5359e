package ingest

import (
	"strings"
	"time"
)

// listing is what one scan saw: path below the folder → size and time.
type listing map[string]stamp

// stamp is what tells one state of a file from another without reading it.
type stamp struct {
	size     int64
	modified time.Time
}

// tracked is what is known of one path.
type tracked struct {
	stamp   stamp
	seen    time.Time // when it was looked at last
	quiet   time.Time // since when the stamp has been the same
	tries   int
	notFrom time.Time // no new try before
}

// tracker decides when files are finished. It is a state machine over what was
// seen of files: no clock, no files, so that every order of events can be tested.
type tracker struct {
	settle time.Duration
	files  map[string]*tracked
	// waiting are those that settle: still changing, not yet quiet for long
	// enough, or to be tried again. The others are handed out.
	waiting map[string]*tracked
}

func newTracker(settle time.Duration) *tracker {
	return &tracker{settle: settle, files: map[string]*tracked{}, waiting: map[string]*tracked{}}
}

// all takes a listing of everything made at now: what is not in it is gone.
func (t *tracker) all(now time.Time, seen listing) {
	for path := range t.files {
		if _, ok := seen[path]; !ok {
			t.forget(path)
		}
	}
	for path, s := range seen {
		t.saw(now, path, s)
	}
}

// saw takes the state that one file had at now.
func (t *tracker) saw(now time.Time, path string, s stamp) {
	f := t.files[path]
	if f == nil || f.stamp != s {
		// New, or changed: whatever was published of it was another file.
		f = &tracked{stamp: s, quiet: now}
		t.files[path], t.waiting[path] = f, f
	}
	f.seen = now
}

// sawAt reports whether the state of a file is that of now.
func (t *tracker) sawAt(now time.Time, path string) bool {
	f := t.files[path]
	return f != nil && f.seen.Equal(now)
}

// gone takes that a path, or all that was below it, is no longer there.
func (t *tracker) gone(path string) {
	if _, ok := t.files[path]; ok {
		t.forget(path)
		return
	}
	for p := range t.files {
		if strings.HasPrefix(p, path+"/") {
			t.forget(p)
		}
	}
}

func (t *tracker) forget(path string) {
	delete(t.files, path)
	delete(t.waiting, path)
}

// due returns the paths that have been quiet for long enough at now, and when
// the next one will have been (zero: nothing is waiting).
func (t *tracker) due(now time.Time) (paths []string, wake time.Time) {
	for path, f := range t.waiting {
		f.clockWentBack(now)
		due := f.quiet.Add(t.settle)
		if f.notFrom.After(due) {
			due = f.notFrom
		}
		switch {
		case !due.After(now):
			paths = append(paths, path)
		case wake.IsZero() || due.Before(wake):
			wake = due
		}
	}
	return paths, wake
}

// take returns the paths that are finished, each handed out once, and when to
// look again. What it is given out by must have been seen at now.
func (t *tracker) take(now time.Time) (ready []string, wake time.Time) {
	ready, wake = t.due(now)
	for _, path := range ready {
		delete(t.waiting, path)
	}
	return ready, wake
}

// clockWentBack keeps a file from waiting for a time that a clock put right has
// made far away. The machine's own clock does not do that to differences; those
// of others may.
func (f *tracked) clockWentBack(now time.Time) {
	if f.quiet.After(now) {
		f.quiet = now
	}
	if soon := now.Add(maxRetryDelay); f.notFrom.After(soon) {
		f.notFrom = soon
	}
}

// again gives a file back to be tried after delay.
func (t *tracker) again(path string, s stamp, now time.Time, delay time.Duration) {
	if f := t.files[path]; f != nil && f.stamp == s {
		f.notFrom = now.Add(delay)
		f.tries++
		t.waiting[path] = f
	}
}

// quietFor returns how long the file has been in a state at now, 0 when it is in
// another one.
func (t *tracker) quietFor(path string, s stamp, now time.Time) time.Duration {
	if f := t.files[path]; f != nil && f.stamp == s {
		return now.Sub(f.quiet)
	}
	return 0
}

func (t *tracker) triesOf(path string) int {
	if f := t.files[path]; f != nil {
		return f.tries
	}
	return 0
}
