package ingest

import "time"

// listing is what one scan saw: path below the folder → size and time.
type listing map[string]stamp

// stamp is what tells one state of a file from another without reading it.
type stamp struct {
	size     int64
	modified time.Time
}

// phase is how far a file has come.
type phase uint8

const (
	settling  phase = iota // seen, still changing or not yet quiet for long enough
	underway               // handed out to be published
	published              // in the archive, in this state
)

// tracked is what is known of one path.
type tracked struct {
	stamp   stamp
	quiet   time.Time // since when the stamp has been the same
	phase   phase
	tries   int
	notFrom time.Time // no new try before
}

// tracker decides when files are finished. It is a state machine over scans:
// no clock, no files, so that every order of events can be tested.
type tracker struct {
	settle time.Duration
	files  map[string]*tracked
}

func newTracker(settle time.Duration) *tracker {
	return &tracker{settle: settle, files: map[string]*tracked{}}
}

// observe takes a scan made at now and returns the paths that are finished,
// each handed out once, and when to look again (zero: nothing is waiting).
func (t *tracker) observe(now time.Time, seen listing) (ready []string, wake time.Time) {
	for path := range t.files {
		if _, ok := seen[path]; !ok {
			delete(t.files, path)
		}
	}
	for path, s := range seen {
		f := t.files[path]
		switch {
		case f == nil:
			f = &tracked{stamp: s, quiet: now}
			t.files[path] = f
		case f.stamp != s:
			// Changed: whatever was published of it was another file.
			*f = tracked{stamp: s, quiet: now}
		}
		if f.phase != settling {
			continue
		}
		f.clockWentBack(now)
		due := f.quiet.Add(t.settle)
		if f.notFrom.After(due) {
			due = f.notFrom
		}
		if !due.After(now) {
			f.phase = underway
			ready = append(ready, path)
			continue
		}
		if wake.IsZero() || due.Before(wake) {
			wake = due
		}
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

// done records that the file was published as it was when handed out.
func (t *tracker) done(path string, s stamp) {
	if f := t.files[path]; f != nil && f.stamp == s {
		f.phase = published
	}
}

// again gives a file back to be tried after delay; the next scan picks it up.
func (t *tracker) again(path string, s stamp, now time.Time, delay time.Duration) {
	if f := t.files[path]; f != nil && f.stamp == s {
		f.phase, f.notFrom = settling, now.Add(delay)
		f.tries++
	}
}

// quietFor returns how long the file has been unchanged at now.
func (t *tracker) quietFor(path string, now time.Time) time.Duration {
	if f := t.files[path]; f != nil {
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
