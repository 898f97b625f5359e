package engine

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"canter.example/schemas"
)

// TestExplanationGolden keeps the words of an explanation, and its JSON: a run
// with a strap slip in it, found on the trace.
func TestExplanationGolden(t *testing.T) {
	tr := traceOf(1300, 1, rough(12, 1, run(92, 165, 30, 50)))
	for i := 640; i < 670; i++ {
		tr.Samples[i].HR -= 30
	}
	tr.Samples[800].HR = 0
	r := Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(200), Explain: true})
	asJSON, err := json.MarshalIndent(r.Explanation, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string]string{"explain.golden.txt": r.Explanation.Text(), "explain.golden.json": string(asJSON) + "\n"} {
		path := filepath.Join("testdata", name)
		if *update {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(string(want), got); d != "" {
			t.Errorf("%s (-want +got):\n%s", name, d)
		}
	}
}

func TestExplainingChangesNothing(t *testing.T) {
	tr := traceOf(1300, 1, rough(13, 1.5, run(92, 165, 30, 50)))
	req := Request{Protocol: fourMinutes(), HRmax: measured(200)}
	plain := Score(tr, req)
	req.Explain = true
	told := Score(tr, req)
	if plain.Explanation != nil || told.Explanation == nil {
		t.Fatal("explanation not as asked")
	}
	if d := cmp.Diff(one(t, plain), one(t, told), cmp.AllowUnexported(schemas.Number{})); d != "" {
		t.Error(d)
	}
}

func TestNoTestIsExplained(t *testing.T) {
	tr := traceOf(1300, 1, rough(14, 1.5, func(float64) float64 { return 80 }))
	r := Score(tr, Request{Protocol: fourMinutes(), Start: time.Time{}, Explain: true})
	if r.None == nil || !strings.Contains(r.Explanation.Text(), "no test: "+r.None.Text) {
		t.Errorf("%s", r.Explanation.Text())
	}
}

// TestPartsOfAScoreAddUp: a candidate's score is the sum that stands beside it,
// in a run below the protocol's band, too.
func TestPartsOfAScoreAddUp(t *testing.T) {
	for _, level := range []float64{142, 165} {
		tr := traceOf(1300, 1, rough(12, 1, run(80, level, 30, 50)))
		r := Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(200), Explain: true})
		if len(r.Explanation.Candidates) == 0 {
			t.Fatalf("level %.0f: no candidate", level)
		}
		c := r.Explanation.Candidates[0]
		if sum := c.Rise + c.Recovery - c.Misfit - c.Level - c.Light + c.Speed + c.Hints; math.Abs(sum-c.Score) > 1e-9 {
			t.Errorf("level %.0f: score %v, its parts make %v", level, c.Score, sum)
		}
		if told := strings.Contains(r.Explanation.Text(), " - below band "); told != (level < 150) {
			t.Errorf("level %.0f: %s", level, r.Explanation.Text())
		}
	}
}

// TestNothingIsKeptOfTheTraceBefore: memory is used again, what was in it is not.
func TestNothingIsKeptOfTheTraceBefore(t *testing.T) {
	var used, first series
	clean(&used, traceOf(1300, 5, rough(1, 1.5, run(92, 165, 30, 50))), measured(200))
	empty := &schemas.Trace{Start: day}
	clean(&used, empty, measured(200))
	clean(&first, empty, measured(200))
	if used.interval != first.interval || used.limit != first.limit || used.wiggle != first.wiggle || len(used.steps) != 0 {
		t.Errorf("an empty trace has %v, %v, %v, %v of the one before", used.interval, used.limit, used.wiggle, used.steps)
	}
}

// TestWindowHoldsEveryRecovery: what history keeps of a trace reaches to the last
// delay, however late.
func TestWindowHoldsEveryRecovery(t *testing.T) {
	tr := traceOf(1400, 1, rough(12, 1, run(80, 165, 30, 50)))
	for _, delay := range []time.Duration{time.Minute, 2 * time.Minute, 290 * time.Second, 400 * time.Second} {
		p := fourMinutes()
		p.Recovery = []time.Duration{delay}
		r := Score(tr, Request{Protocol: p, HRmax: measured(200)})
		o := one(t, r)
		w := r.Tests[0].Window
		if last, needed := w[len(w)-1].Second, int((o.Duration+delay)/time.Second)+3; last < needed {
			t.Errorf("delay %s: the window ends at %d s, the recovery window at %d s", delay, last, needed)
		}
	}
}
