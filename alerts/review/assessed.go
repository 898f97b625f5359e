package review

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"canter.example/alerts/assess"
	"canter.example/schemas"
)

// What a session's numbers are follows from the tests alone, and takes most of a
// review's time: sessions are assessed side by side, on all processors. What rules
// say of them depends on the sessions before, and is found in their order.

// atOnce is how many sessions are assessed before they are judged, which bounds
// the memory of years of them.
const atOnce = 16

// assessed is a session with its numbers.
type assessed struct {
	outcomes []schemas.Outcome
	day      time.Time // local midnight
	history  map[string][]schemas.Outcome
	effects  []assess.Effect
	tests    []schemas.Assessment // of each outcome
}

// assessAll assesses sessions and returns them in their order. A panic on the way
// is the caller's, as if it had done all by itself.
func (r *reviewer) assessAll(sessions [][]*schemas.Outcome) []assessed {
	out := make([]assessed, len(sessions))
	var next atomic.Int64
	var panicked atomic.Pointer[string]
	work := func() {
		defer func() {
			if p := recover(); p != nil {
				panicked.Store(new(fmt.Sprintf("%v\n%s", p, debug.Stack())))
			}
		}()
		for i := next.Add(1) - 1; i < int64(len(sessions)); i = next.Add(1) - 1 {
			out[i] = r.assess(sessions[i])
		}
	}
	var others sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(sessions)) - 1 {
		others.Go(work)
	}
	work()
	others.Wait()
	if p := panicked.Load(); p != nil {
		panic(*p)
	}
	return out
}

// assess finds a session's numbers. It changes nothing of the reviewer's.
func (r *reviewer) assess(session []*schemas.Outcome) assessed {
	a := assessed{outcomes: make([]schemas.Outcome, len(session)), tests: make([]schemas.Assessment, len(session))}
	for i, o := range session {
		a.outcomes[i] = *o
	}
	first := a.outcomes[0].Start.In(zone(r.club))
	a.day = time.Date(first.Year(), first.Month(), first.Day(), 0, 0, 0, 0, first.Location())
	a.history = r.known(a.outcomes)
	if !r.settings.NoSquad {
		a.effects = assess.Effects(a.outcomes, a.history, r.settings)
	}
	pooled := map[string]assess.Pooled{}
	for i := range a.outcomes {
		o := a.outcomes[i]
		p, ok := pooled[o.ProtocolVersion]
		if !ok && !r.settings.NoPool {
			p = assess.PooledSD(a.history, o.ProtocolVersion, a.day, a.effects, r.settings)
			pooled[o.ProtocolVersion] = p
		}
		a.tests[i] = assess.Test(o, a.history[o.Athlete], assess.Context{
			Pooled: p, Effects: a.effects, Since: r.athletes[o.Athlete].since(o.Start),
		}, r.settings)
	}
	return a
}
