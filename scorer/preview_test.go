package scorer_test

import (
	"errors"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/scorer"
	"github.com/google/go-cmp/cmp"
)

// TestAPreviewIsWhatTheCorrectionGives holds what is shown before saving to
// what is stored after it.
func TestAPreviewIsWhatTheCorrectionGives(t *testing.T) {
	for _, by := range []time.Duration{-25 * time.Second, 7 * time.Second, 90 * time.Second} {
		r := newRig(t)
		id := r.drop("AKF.json", run("AKF", planned.Add(-10*time.Minute), 150))
		before := r.test(id)
		ruling := schemas.Ruling{Start: before.Start.Add(by)}
		found, err := r.s.Preview(t.Context(), &before, ruling)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(before, r.test(id), cmp.AllowUnexported(schemas.Number{})); d != "" {
			t.Errorf("the preview changed what is stored (-before +after):\n%s", d)
		}
		r.correct(before, schemas.ActionStart, ruling.Start)
		after := r.test(id)
		if !after.Start.Equal(ruling.Start) || after.StartSource != schemas.StartByHand {
			t.Errorf("moved by %s: start %s, %s", by, after.Start, after.StartSource)
		}
		found.Outcome.Version = after.Version
		if d := cmp.Diff(found.Outcome, after, cmp.AllowUnexported(schemas.Number{})); d != "" {
			t.Errorf("moved by %s: the preview and what came of it differ (-preview +stored):\n%s", by, d)
		}
		window, err := r.history.TraceSeconds(t.Context(), before.TestID)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(found.Window, window, cmp.AllowUnexported(schemas.Number{})); d != "" {
			t.Errorf("moved by %s: the windows differ:\n%s", by, d)
		}
	}
}

func TestAPreviewSaysWhyItCanNotBe(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.json", run("AKF", planned.Add(-10*time.Minute), 150))
	o := r.test(id)
	// Where a start by hand lies outside the recording, the scorer keeps what it
	// found, and so does the preview.
	found, err := r.s.Preview(t.Context(), &o, schemas.Ruling{Start: o.Start.Add(12 * time.Hour)})
	if err != nil || !found.Outcome.Start.Equal(o.Start) {
		t.Errorf("a start outside the recording: %v, %v", found.Outcome.Start, err)
	}
	gone := o
	gone.FileID = schemas.NewFileID([]byte("never seen"))
	if _, err = r.s.Preview(t.Context(), &gone, schemas.Ruling{}); !errors.Is(err, scorer.ErrFileGone) {
		t.Errorf("of a file that is gone: %v", err)
	}
	if _, err := r.s.Recording(t.Context(), &gone); !errors.Is(err, scorer.ErrFileGone) {
		t.Errorf("recording of a file that is gone: %v", err)
	}
	gone = o
	gone.Part = "nobody's"
	if _, err := r.s.Recording(t.Context(), &gone); !errors.Is(err, scorer.ErrTestGone) {
		t.Errorf("of a part that is not there: %v", err)
	}
	tr, err := r.s.Recording(t.Context(), &o)
	if err != nil || len(tr.Samples) == 0 || tr.Part != o.Part {
		t.Errorf("recording: %v, %v", tr, err)
	}
}
