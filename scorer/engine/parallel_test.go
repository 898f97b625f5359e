package engine

import (
	"reflect"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"canter.example/schemas"
)

// TestScoringInParallelIsScoringAlone: scorings share memory through a pool,
// never results, whatever protocols they mix.
func TestScoringInParallelIsScoringAlone(t *testing.T) {
	tr := traceOf(1300, 1, rough(21, 1.5, run(92, 165, 30, 50)))
	protocols := []*schemas.Protocol{fourMinutes(), fourMinutes(), fourMinutes()}
	protocols[1].Stages[0].Duration = 3 * time.Minute
	protocols[2].Stages = []schemas.Stage{{Duration: 2 * time.Minute, SpeedKMH: schemas.Num(10)}, {Duration: 2 * time.Minute, SpeedKMH: schemas.Num(12)}}
	want := make([]Result, len(protocols))
	for i, p := range protocols {
		want[i] = Score(tr, Request{Protocol: p, HRmax: measured(200)})
	}
	var all sync.WaitGroup
	for n := range 24 {
		all.Go(func() {
			i := n % len(protocols)
			got := Score(tr, Request{Protocol: protocols[i], HRmax: measured(200)})
			if d := cmp.Diff(want[i], got, cmp.AllowUnexported(schemas.Number{})); d != "" {
				t.Errorf("protocol %d: %s", i, d)
			}
		})
	}
	all.Wait()
}

// TestAStartByHandIsJudgedByItsOwnTrace: nothing of the trace that used the
// memory before is left in it.
func TestAStartByHandIsJudgedByItsOwnTrace(t *testing.T) {
	tr := traceOf(1300, 1, rough(21, 1, run(92, 165, 30, 50)))
	noisy := traceOf(1300, 5, rough(3, 8, run(92, 165, 30, 50)))
	p, err := withDefaults(fourMinutes())
	if err != nil {
		t.Fatal(err)
	}
	byHand := func(w *work) Explanation {
		req := Request{Protocol: p, HRmax: measured(200), Start: tr.Start.Add(9 * time.Minute)}
		e := &Explanation{}
		clean(&w.series, tr, req.HRmax)
		w.score(tr, &req, e)
		return *e
	}
	used := new(work)
	clean(&used.series, noisy, measured(200))
	used.score(noisy, &Request{Protocol: p, HRmax: measured(200)}, nil)
	if got, want := byHand(used), byHand(new(work)); !reflect.DeepEqual(got, want) {
		t.Errorf("after a noisy trace:\n%+v\nalone:\n%+v", got, want)
	}
}
