package trial

import (
	"testing"

	"canter.example/scorer/engine/simulate"
	"canter.example/scorer/engine/simulate/holdout"
)

func TestNoTests(t *testing.T) {
	if *devSeed == 0 {
		t.Skip()
	}
	only := func(all []simulate.Scenario) (out []simulate.Scenario) {
		for _, s := range all {
			if s.Group == simulate.NoTest {
				out = append(out, s)
			}
		}
		return out
	}
	for _, tab := range []Table{RunWith(only(simulate.Scenarios), simulate.Make, 3000, *devSeed), RunWith(only(holdout.Scenarios), holdout.Make, 3000, *devSeed)} {
		for _, r := range tab.Rows {
			t.Log(r.Name, r.Sessions, r.Good, r.Check, r.Reject)
			for _, w := range r.Worst {
				t.Log(w)
			}
		}
	}
}
