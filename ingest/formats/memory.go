package formats

import (
	"sync"

	"canter.example/schemas"
)

// Memory of samples and of intervals between beats that [Free] was given: a whole
// session's take a quarter of a megabyte, and filling pages that were filled before
// costs a fraction of touching new ones.
var samplesMemory, intervalsMemory sync.Pool

// mostKept samples, or intervals, of one trace are kept for reuse: nine hours of
// samples at 1 Hz.
const mostKept = 1 << 15

// Free gives the memory of traces back, for the traces of files that are read
// later. Nobody may look at their samples and intervals from then on; all else of
// them stays as it is.
func Free(traces []schemas.Trace) {
	for i := range traces {
		t := &traces[i]
		giveBack(&samplesMemory, t.Samples)
		giveBack(&intervalsMemory, t.RR)
		t.Samples, t.RR = nil, nil
	}
}

func giveBack[T any](memory *sync.Pool, s []T) {
	if cap(s) > 0 && cap(s) <= mostKept {
		memory.Put(&s)
	}
}

// room returns an empty slice for n elements or more, of what was given back if that
// is large enough.
func room[T any](memory *sync.Pool, n int) []T {
	if s, ok := memory.Get().(*[]T); ok && cap(*s) >= n {
		return (*s)[:0]
	}
	return make([]T, 0, n)
}

func roomForSamples(n int) []schemas.Sample { return room[schemas.Sample](&samplesMemory, n) }

func roomForIntervals(n int) []schemas.RR { return room[schemas.RR](&intervalsMemory, n) }
