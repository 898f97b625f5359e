package assess_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"canter.example/alerts/assess"
	"canter.example/schemas"
)

// 'ABC of EDA' p. 224 by R's medpolish (FACTS 5h).
func TestMedianPolishOfABCOfEDA(t *testing.T) {
	p, err := assess.MedianPolish([][]float64{{14, 15, 14}, {7, 4, 7}, {8, 2, 10}, {15, 9, 10}, {0, 2, 0}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "overall", p.Overall, 8, 1e-9)
	nearAll(t, "rows", p.Rows, []float64{6, -1, 0, 2, -8}, 1e-9)
	nearAll(t, "columns", p.Columns, []float64{0, -1, 0}, 1e-9)
	for i, want := range [][]float64{{0, 2, 0}, {0, -2, 0}, {0, -5, 2}, {5, 0, 0}, {0, 3, 0}} {
		nearAll(t, "residuals", p.Residuals[i], want, 1e-9)
	}
}

// The same table with two cells absent, by R 4.2.2's medpolish(na.rm = TRUE).
func TestMedianPolishWithAbsentCells(t *testing.T) {
	nan := math.NaN()
	p, err := assess.MedianPolish([][]float64{{14, 15, 14}, {7, nan, 7}, {8, 2, 10}, {nan, 9, 10}, {0, 2, 0}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "overall", p.Overall, 8, 1e-9)
	nearAll(t, "rows", p.Rows, []float64{6, -1, 0, 1.375, -8}, 1e-9)
	nearAll(t, "columns", p.Columns, []float64{0, 0.3125, 0}, 1e-9)
	if !math.IsNaN(p.Residuals[1][1]) {
		t.Error("an absent cell has a residual")
	}
}

func TestMedianPolishRefusesTablesItCannotFit(t *testing.T) {
	nan := math.NaN()
	for name, table := range map[string][][]float64{
		"none": nil, "no columns": {{}}, "ragged": {{1, 2}, {1}}, "an empty row": {{1, 2}, {nan, nan}},
		"an empty column": {{1, nan}, {2, nan}}, "an infinite cell": {{1, math.Inf(1)}},
	} {
		if _, err := assess.MedianPolish(table); !errors.Is(err, assess.ErrTable) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// season makes a squad's sessions: level + noise (SD in points), plus shift on
// the last session. It returns the last session and all tests by athlete.
func season(rng *rand.Rand, athletes, sessions int, sd, shift float64) ([]schemas.Outcome, map[string][]schemas.Outcome) {
	var last []schemas.Outcome
	history := map[string][]schemas.Outcome{}
	for a := range athletes {
		id := fmt.Sprintf("a%02d", a)
		level := 80 + 5*rng.NormFloat64()
		for w := range sessions {
			v := level + sd*rng.NormFloat64()
			if w == sessions-1 {
				v += shift
			}
			o := test(w, id, 2*v) // HRmax 200
			history[id] = append(history[id], o)
			if w == sessions-1 {
				last = append(last, o)
			}
		}
	}
	return last, history
}

func TestAHotDayIsSeenAsTheSquads(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	last, history := season(rng, 20, 9, 1.4, 4)
	// Two athletes are ill: the squad's shift is not theirs.
	for i := range 2 {
		last[i].HRexBPM = schemas.Num(last[i].HRexBPM.Or(0) + 2*9)
	}
	e := assess.SquadEffect(last, history, schemas.MeasureHRex, 0, settings)
	if e.State != assess.Estimated || e.Athletes != 20 || e.Sessions != 8 || e.Unit != assess.Points {
		t.Fatalf("got %+v", e)
	}
	near(t, "size", e.Size.Or(math.NaN()), 4, 1.2)
	if !e.Beyond(1) {
		t.Errorf("interval %s to %s: a day 4 points hot goes unseen", e.Low.Text(2), e.High.Text(2))
	}
	near(t, "an athlete's own part", e.Without(schemas.Num(9)).Or(0), 9-e.Size.Or(0), 1e-9)
}

func TestTheIntervalOfAnOrdinaryDayHoldsZeroAsOftenAsItSays(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	const days = 600
	for _, athletes := range []int{5, 12, 25} {
		held, level := 0, 0.0
		for range days {
			last, history := season(rng, athletes, 9, 1.4, 0)
			e := assess.SquadEffect(last, history, schemas.MeasureHRex, 0, settings)
			low, high := e.Low.Or(math.NaN()), e.High.Or(math.NaN())
			if level = e.Level; low <= 0 && 0 <= high {
				held++
			}
		}
		// Three standard errors of a share of 600 days.
		if got := float64(held) / days; got < level-3*math.Sqrt(level*(1-level)/days) {
			t.Errorf("%d athletes: held 0 on %.3f of days, says %.3f", athletes, got, level)
		}
	}
}

func TestSquadEffectSaysWhenItCannotTell(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	last, history := season(rng, 4, 9, 1, 0)
	if e := assess.SquadEffect(last, history, schemas.MeasureHRex, 0, settings); e.State != assess.FewAthletes || e.Size.Present() || e.Athletes != 4 {
		t.Errorf("4 athletes: %+v", e)
	}
	last, history = season(rng, 8, 3, 1, 0)
	if e := assess.SquadEffect(last, history, schemas.MeasureHRex, 0, settings); e.State != assess.FewAthletes || e.Athletes != 0 {
		t.Errorf("two earlier tests each: %+v", e)
	}
	if e := assess.SquadEffect(nil, nil, schemas.MeasureHRR, 60, settings); e.State != assess.FewAthletes {
		t.Errorf("nobody: %+v", e)
	}
	if got := (assess.Effect{}).Without(schemas.Num(3)); got != schemas.Num(3) {
		t.Errorf("no estimate takes something off: %s", got.Text(1))
	}
	// Everybody trained on days of their own: no session in common.
	last, history = season(rng, 6, 9, 1, 0)
	for id, tests := range history {
		for i := range tests[:8] {
			tests[i].Session += id
		}
	}
	if e := assess.SquadEffect(last, history, schemas.MeasureHRex, 0, settings); e.State != assess.FewSessions {
		t.Errorf("no common session: %+v", e)
	}
}

func TestSquadEffectOfRecoveryAndOfASquadWithoutHRmax(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	last, history := season(rng, 8, 9, 0.5, 3)
	for i := range last {
		last[i].Recovery[0].BPM = schemas.Num(34) // 40 in every other test
		last[i].HRmax = schemas.HRmax{}
	}
	e := assess.SquadEffect(last, history, schemas.MeasureHRR, 60, settings)
	near(t, "HRR60", e.Size.Or(math.NaN()), -6, 1e-9)
	e = assess.SquadEffect(last, history, schemas.MeasureHRex, 0, settings)
	if e.Unit != assess.BPM {
		t.Fatalf("unit %s", e.Unit)
	}
	near(t, "HRex in bpm", e.Size.Or(math.NaN()), 6, 1.5)
}
