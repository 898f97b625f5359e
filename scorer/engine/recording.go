package engine

import (
	"sync"

	"canter.example/schemas"
)

// Recording is a trace to be asked several things: its load, and its tests by
// several protocols or with several hints. It is cleaned once for each HRmax in a
// row, and gives the answers that [Load] and [Score] give. It is for one goroutine
// at a time, and the trace must not change meanwhile.
type Recording struct {
	Trace *schemas.Trace

	*work
	cleaned bool
	hrmax   schemas.HRmax // that it was cleaned for
}

// work is the memory of one recording, reused to keep allocations few.
type work struct {
	series series
	finder finder
}

var pool = sync.Pool{New: func() any { return new(work) }}

// Open returns a recording of a trace; Close gives its memory back.
func Open(tr *schemas.Trace) *Recording {
	w, _ := pool.Get().(*work)
	return &Recording{Trace: tr, work: w}
}

// Close ends the use of a recording.
func (r *Recording) Close() {
	pool.Put(r.work)
	r.work = nil
}

// windows are given back by those who are done with them: each takes 50 kB.
var windows sync.Pool

// FreeWindow gives the memory of a [Found]'s window back, for the windows of tests
// that are found later. Nobody may look at it from then on.
func FreeWindow(w []schemas.TraceSecond) {
	if cap(w) > 0 {
		windows.Put(&w)
	}
}

// roomForWindow returns an empty slice for n seconds.
func roomForWindow(n int) []schemas.TraceSecond {
	if w, ok := windows.Get().(*[]schemas.TraceSecond); ok && cap(*w) >= n {
		return (*w)[:0]
	}
	return make([]schemas.TraceSecond, 0, n)
}

// clean sees to it that the series is the trace's, cleaned for an HRmax.
func (r *Recording) clean(hrmax schemas.HRmax) {
	if r.cleaned && r.hrmax == hrmax {
		return
	}
	r.cleaned = false
	clean(&r.series, r.Trace, hrmax)
	r.cleaned, r.hrmax = true, hrmax
}
