package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"
)

// progress shows how far a long job is, in one line on a terminal that is
// written over. In a pipe, a file or a log it shows nothing.
type progress struct {
	w     io.Writer // nil when there is nobody to show it to
	what  string
	total int

	mu    sync.Mutex
	done  int
	shown time.Time
}

// showEvery keeps a terminal readable and the job fast.
const showEvery = 100 * time.Millisecond

// newProgress starts a job of total steps, "files" say, shown on w.
func newProgress(w io.Writer, what string, total int) *progress {
	p := &progress{what: what, total: total}
	if isTerminal(w) && total > 1 {
		p.w = w
	}
	return p
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0 && os.Getenv("TERM") != "dumb"
}

// to says that so many steps are done.
func (p *progress) to(done int) {
	if p.w == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done = done
	if now := time.Now(); now.Sub(p.shown) >= showEvery {
		p.shown = now
		_, _ = fmt.Fprintf(p.w, "\r%d of %d %s ", p.done, p.total, p.what)
	}
}

// clear takes the line away, before something else is written.
func (p *progress) clear() {
	if p.w != nil {
		_, _ = fmt.Fprint(p.w, "\r\x1b[K")
	}
}
