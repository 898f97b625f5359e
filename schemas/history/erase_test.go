package history_test

import (
	"errors"
	"testing"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

func TestWhatNamesAnAthlete(t *testing.T) {
	t.Parallel()
	who := history.Erasure{Athlete: "ITL", Names: []string{"Ineke Tolsvoort", "IT", "Tolsvoort, I.", ""}}
	for text, want := range map[string]bool{
		"":                              false,
		"No test: Ineke Tolsvoort.":     true,
		"no test: INEKE TOLSVOORT":      true,
		"Ineke Tolsvoorts":              false,
		"2026-08-18/ITL.fit":            true,
		"2026-08-18/itl_1.fit":          true,
		"2026-08-18/ITLA.fit":           false,
		"2026-08-18/1ITL.fit":           false,
		"Without a test: AF, IT.":       true,
		"accept it or leave it out":     false,
		"é" + "ITL":                     false,
		"Tolsvoort, I. and others":      true,
		"\xff\xfeITL\xff broken":        true,
		"something about somebody else": false,
	} {
		if got := who.Mentions(text); got != want {
			t.Errorf("%q: %v, want %v", text, got, want)
		}
	}
}

func TestErasureTakesOneAthleteAndNobodyElse(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		own, shared := file(1, 1), file(2, 1)
		own.Origin.Path = "2026-03-04/anna.fit"
		a, b, c := outcome(&own, 0, "anna"), outcome(&shared, 0, "anna"), outcome(&shared, 1, "ben")
		save(t, s, own, a)
		save(t, s, shared, b, c)
		as := []schemas.Assessment{assessment(a.TestID, 1), assessment(c.TestID, 1)}
		as[1].Athlete = "ben"
		ok(t, s.SaveAssessments(ctx, as))
		hers, squads, bens := alert("a1", 1), alert("a2", 1), alert("a3", 1)
		hers.TestID, squads.TestID, bens.TestID = a.TestID, "", c.TestID
		squads.Athlete, squads.Text = "", "Without a test: Anna Nowhere, Ben Elsewhere."
		bens.Athlete, bens.Text = "ben", "Ben Elsewhere: HRex risen"
		for _, x := range []schemas.Alert{hers, squads, bens} {
			m := message("m-" + x.ID)
			m.AlertID, m.Text = x.ID, x.Text
			ok(t, s.SaveAlert(ctx, x, []schemas.Message{m}))
		}
		for i, test := range []schemas.TestID{a.TestID, c.TestID} {
			ok(t, s.SaveCorrection(ctx, schemas.Correction{ID: string(rune('1' + i)), TestID: test, FileID: shared.ID, Action: schemas.ActionExclude, Who: "kim", When: noon, Why: "wore the strap of Anna Nowhere"}))
		}
		ok(t, s.SaveCorrection(ctx, schemas.Correction{ID: "3", FileID: shared.ID, Action: schemas.ActionAthlete, Part: "second", Athlete: "anna", Who: "kim", When: noon, Why: "spare strap"}))
		ok(t, s.SaveAthletes(ctx, []history.AthleteRow{{ID: "anna", Name: "Anna Nowhere"}, {ID: "ben", Name: "Ben Elsewhere"}}))

		who := history.Erasure{Athlete: "anna", Names: []string{"Anna Nowhere", "AN"}, Files: []schemas.FileID{own.ID}}
		done, err := s.Erase(ctx, who)
		ok(t, err)
		same(t, "still found in", done.Left, []string(nil))
		same(t, "messages removed", done.Messages, []string{"m-a1"})
		tests, err := s.Tests(ctx, history.TestFilter{IncludeRemoved: true})
		ok(t, err)
		same(t, "tests", tests, []schemas.Outcome{c})
		window, err := s.TraceSeconds(ctx, c.TestID)
		ok(t, err)
		same(t, "trace of the other", window, trace(60))
		files, err := s.Files(ctx, "")
		ok(t, err)
		same(t, "files", files, []schemas.File{shared})
		alerts, err := s.Alerts(ctx, history.AlertFilter{})
		ok(t, err)
		squads.Text = history.ErasedText
		same(t, "alerts", alerts, []schemas.Alert{squads, bens})
		messages, err := s.Messages(ctx, "")
		ok(t, err)
		same(t, "number of messages", len(messages), 2)
		same(t, "message of the squad", messages[0].Text, history.ErasedText)
		same(t, "message of the other", messages[1].Text, "Ben Elsewhere: HRex risen")
		corrections, err := s.AllCorrections(ctx, "")
		ok(t, err)
		same(t, "number of corrections", len(corrections), 1)
		same(t, "why", corrections[0].Why, history.ErasedText)
		athletes, err := s.Athletes(ctx)
		ok(t, err)
		same(t, "athletes", athletes, []history.AthleteRow{{ID: "ben", Name: "Ben Elsewhere"}})
		got, found, err := s.Assessment(ctx, c.TestID)
		ok(t, err)
		same(t, "assessment found", found, true)
		same(t, "assessment", got, as[1])

		again, err := s.Erase(ctx, who)
		ok(t, err)
		same(t, "removed the second time", again.Removed, map[string]int{})
		if _, err := s.Erase(ctx, history.Erasure{Names: []string{"Ben Elsewhere"}}); !errors.Is(err, history.ErrInvalid) {
			t.Errorf("without an athlete: %v", err)
		}
	})
}

// A name that is left where canter does not take it away is reported.
func TestErasureSaysWhereSomebodyIsLeft(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ok(t, s.SaveAthletes(t.Context(), []history.AthleteRow{{ID: "anna", Name: "Anna Nowhere"}, {ID: "anna2", Name: "Anna Nowhere"}}))
		done, err := s.Erase(t.Context(), history.Erasure{Athlete: "anna", Names: []string{"Anna Nowhere"}})
		ok(t, err)
		if len(done.Left) != 1 {
			t.Errorf("left: %v, want the column of the namesake", done.Left)
		}
	})
}
