package engine

import (
	"math/rand/v2"
	"testing"
	"time"

	"canter.example/schemas"
)

// TestHostileTracesComeToAnEnd: no trace, however dense or wild, keeps the
// scorer busy for long; work that grew with the square of the samples would run
// into the test's time limit here.
func TestHostileTracesComeToAnEnd(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for _, c := range []struct {
		name string
		make func(i int) schemas.Sample
	}{
		{"a millisecond apart, wild", func(i int) schemas.Sample {
			return schemas.Sample{At: time.Duration(i) * time.Millisecond, HR: float32(40 + r.IntN(180)), Cadence: 160, Have: schemas.HasCadence}
		}},
		{"a millisecond apart, near the step rate", func(i int) schemas.Sample {
			return schemas.Sample{At: time.Duration(i) * time.Millisecond, HR: float32(158 + r.IntN(12)), Cadence: 160, Have: schemas.HasCadence}
		}},
		{"a second apart, wild", func(i int) schemas.Sample {
			return schemas.Sample{At: time.Duration(i) * time.Second, HR: float32(40 + r.IntN(180)), Speed: 3, Have: schemas.HasSpeed}
		}},
		{"up and down by 60", func(i int) schemas.Sample {
			return schemas.Sample{At: time.Duration(i) * time.Second, HR: float32(100 + 60*(i%2))}
		}},
		{"all in one instant", func(int) schemas.Sample { return schemas.Sample{HR: float32(60 + r.IntN(100))} }},
		{"an hour apart", func(i int) schemas.Sample { return schemas.Sample{At: time.Duration(i) * time.Hour, HR: 120} }},
	} {
		tr := &schemas.Trace{Start: day}
		for i := range 200000 {
			tr.Samples = append(tr.Samples, c.make(i))
		}
		r := Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(190), Explain: true})
		if (len(r.Tests) == 0) == (r.None == nil) {
			t.Errorf("%s: %d tests and reason %v", c.name, len(r.Tests), r.None)
		}
		if text := r.Explanation.Text(); len(text) < 50 {
			t.Errorf("%s: %q", c.name, text)
		}
	}
}
