package engine

import (
	"math"
	"math/rand/v2"
	"testing"

	"canter.example/schemas"
)

// TestRestlessInTheRunAlone: readings that go up and down in the run more than at
// rest are not the heart's, however well their level fits; as restless ones all
// along, and calmer ones in the run, are nothing to doubt.
func TestRestlessInTheRunAlone(t *testing.T) {
	for _, c := range []struct {
		name           string
		atRest, inRun  float64 // bpm, scatter of neighbouring readings
		every          int     // s
		doubted, atall bool
	}{
		{"calm all along", 0.6, 0.6, 1, false, true},
		{"restless all along", 1.4, 1.4, 1, false, true},
		{"calmer in the run", 2, 0.5, 1, false, true},
		{"restless in the run", 0.5, 1.4, 1, true, true},
		{"restless in the run, few samples", 0.6, 2.4, 3, true, true},
		{"too few samples to tell", 0.6, 2.4, 9, false, false},
	} {
		doubted, n := 0, 0
		for seed := range uint64(20) {
			r := rand.New(rand.NewPCG(seed, 7))
			sound := run(90.4, 160, 22, 40)
			tr := traceOf(1300, c.every, func(at float64) float64 {
				sd := c.atRest
				if at > 720 && at < 840 {
					sd = c.inRun
				}
				return math.Round(sound(at) + sd*r.NormFloat64())
			})
			res := Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(195)})
			for i := range res.Tests {
				n++
				if has(&res.Tests[i].Outcome, schemas.ReasonArtefacts) {
					doubted++
				}
			}
		}
		if c.atall && n != 20 || c.doubted && doubted < 18 || !c.doubted && doubted > 1 {
			t.Errorf("%s: %d of %d tests said to be restless", c.name, doubted, n)
		}
	}
}
