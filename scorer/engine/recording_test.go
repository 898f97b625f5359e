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
