package engine

import (
	"encoding/json"
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
