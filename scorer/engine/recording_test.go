package engine

import (
	"reflect"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"canter.example/schemas"
)

// TestARecordingAnswersAsItsTraceWould: asked in any order, with one HRmax or
// another, a recording says what Load and Score say of its trace.
func TestARecordingAnswersAsItsTraceWould(t *testing.T) {
	tr := traceOf(1300, 1, run(80, 165, 30, 45))
	for i := 900; i < 960; i++ {
		tr.Samples[i].HR = 199 // far above one HRmax, within another
	}
	athlete := func(hrmax float64) *schemas.Athlete {
		return &schemas.Athlete{HRmax: measured(hrmax), HRrest: schemas.Num(50), Sex: schemas.Female}
	}
	exactly := cmp.Exporter(func(reflect.Type) bool { return true })
	r := Open(tr)
	defer r.Close()
	for _, top := range []float64{170, 170, 205, 170} {
		if diff := cmp.Diff(Load(tr, athlete(top), 2026), r.Load(athlete(top), 2026), exactly); diff != "" {
			t.Errorf("load with HRmax %.0f: -trace +recording\n%s", top, diff)
		}
		for _, around := range []time.Time{{}, tr.Start.Add(8 * time.Minute)} {
			req := Request{Protocol: fourMinutes(), HRmax: measured(top), Around: around, Explain: true}
			if diff := cmp.Diff(Score(tr, req), r.Score(req), exactly); diff != "" {
				t.Errorf("score with HRmax %.0f: -trace +recording\n%s", top, diff)
			}
		}
	}
	if cmp.Equal(Load(tr, athlete(170), 2026), Load(tr, athlete(205), 2026), exactly) {
		t.Error("HRmax makes no difference to this trace: nothing is tried")
	}
}

// TestFreedWindowsAreUsedAgain: what lay in a window before does not show, and
// windows that nobody gave back stay as they are.
func TestFreedWindowsAreUsedAgain(t *testing.T) {
	long, short := traceOf(1300, 1, run(80, 165, 30, 45)), traceOf(1100, 1, run(85, 170, 25, 40))
	windowOf := func(tr *schemas.Trace) []schemas.TraceSecond {
		res := Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(190)})
		if len(res.Tests) != 1 {
			t.Fatalf("%d tests, %v", len(res.Tests), res.None)
		}
		return res.Tests[0].Window
	}
	exactly := cmp.Exporter(func(reflect.Type) bool { return true })
	want, held := windowOf(short), [][]schemas.TraceSecond(nil)
	for range 50 {
		used := windowOf(long)
		for i := range used {
			used[i] = schemas.TraceSecond{Second: 77, Raw: schemas.Num(7), Clean: schemas.Num(7), Speed: schemas.Num(7), Dropped: "before"}
		}
		FreeWindow(used)
		held = append(held, windowOf(short))
	}
	for _, w := range held {
		if diff := cmp.Diff(want, w, exactly); diff != "" {
			t.Fatalf("-in new memory +in used memory\n%s", diff)
		}
	}
}
