package scorer_test

import (
	"fmt"
	"log/slog"
	"strings"
	"testing"

	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/scorer"
)

// say has staff say something of a whole file.
func (r *rig) say(id schemas.FileID, action schemas.CorrectionAction, part, athlete string) {
	r.t.Helper()
	r.handle(r.delivery(schemas.SubjectCorrection+string(id), schemas.Correction{
		ID: fmt.Sprintf("c%06d", r.seq), FileID: id, Action: action, Part: part, Athlete: athlete, Who: "staff", When: planned, Why: "why",
	}))
}

// reads makes the scorer one with another club file.
func (r *rig) reads(yaml string) {
	r.t.Helper()
	c, err := club.Parse("club.yaml", []byte(yaml))
	if err != nil {
		r.t.Fatal(err)
	}
	r.s = scorer.New(scorer.Config{Club: c, Decode: decode, Log: slog.New(slog.DiscardHandler)}, r, r.history)
}

// state fails the test when the file is not in the given state, and returns its
// reason.
func (r *rig) state(id schemas.FileID, want schemas.FileState) string {
	r.t.Helper()
	f := r.file(id)
	if f.State != want {
		r.t.Fatalf("the file is %s, want %s: %s", f.State, want, f.Reason)
	}
	return f.Reason
}

func TestStaffSayWhoseAParkedFileIs(t *testing.T) {
	r := newRig(t)
	id := r.drop("stranger.csv", run("", planned, 160))
	if reason := r.state(id, schemas.FileParked); !strings.Contains(reason, "stranger") {
		t.Errorf("reason %q", reason)
	}
	r.say(id, schemas.ActionAthlete, "", "BLO")
	if o := r.test(id); o.Athlete != "BLO" || o.Quality != schemas.Good {
		t.Errorf("outcome %+v", o)
	}
	r.state(id, schemas.FileScored)
	// It was the other one. The first one's event says that the test is gone.
	r.events = nil
	r.say(id, schemas.ActionAthlete, "", "CEM")
	if o := r.test(id); o.Athlete != "CEM" {
		t.Errorf("outcome %+v", o)
	}
	gone := false
	for _, e := range r.events {
		te, ok := e.(schemas.TestEvent)
		gone = gone || ok && te.Athlete == "BLO" && len(te.Gone) == 1
	}
	if !gone {
		t.Errorf("nobody is told that BLO's test is gone: %+v", r.events)
	}
	// Put through again, staff's word stays; taken back, it is nobody's.
	r.handle(r.delivery(schemas.SubjectRescore+string(id), schemas.RescoreEvent{File: id, Cause: "again"}))
	if o := r.test(id); o.Athlete != "CEM" {
		t.Errorf("outcome %+v", o)
	}
	r.say(id, schemas.ActionRestore, "", "")
	r.state(id, schemas.FileParked)
	if os := r.tests(id); len(os) != 0 {
		t.Errorf("tests of nobody: %+v", os)
	}
}

func TestStaffSayWhoseAHandledFileIs(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.csv", run("", planned, 160))
	r.say(id, schemas.ActionAthlete, "", "DIA") // straps were swapped
	if o := r.test(id); o.Athlete != "DIA" {
		t.Errorf("outcome %+v", o)
	}
	r.say(id, schemas.ActionAthlete, "", "NOB")
	if reason := r.state(id, schemas.FileParked); !strings.Contains(reason, "NOB") {
		t.Errorf("reason %q", reason)
	}
}

func TestStaffSayWhoseARecordingInsideAFileIs(t *testing.T) {
	whole := func(who ...string) content {
		var c content
		for _, w := range who {
			c.Parts = append(c.Parts, run(w, planned, 160))
		}
		return c
	}
	owners := func(r *rig, id schemas.FileID) string {
		var list []string
		for _, o := range r.tests(id) {
			list = append(list, o.Part+"="+o.Athlete)
		}
		return strings.Join(list, " ")
	}
	t.Run("the only one in question needs no part", func(t *testing.T) {
		r := newRig(t)
		id := r.drop("team.csv", whole("AKF", "guest", "CEM"))
		if reason := r.state(id, schemas.FileParked); !strings.Contains(reason, `"part 1": `) || !strings.HasPrefix(reason, "in part (2 tests were scored)") {
			t.Errorf("reason %q", reason)
		}
		r.say(id, schemas.ActionAthlete, "", "BLO")
		r.state(id, schemas.FileScored)
		if got := owners(r, id); !strings.Contains(got, "part 1=BLO") || !strings.Contains(got, "part 0=AKF") {
			t.Errorf("owners %s", got)
		}
	})
	t.Run("of two in question, the part says which", func(t *testing.T) {
		r := newRig(t)
		id := r.drop("team.csv", whole("AKF", "guest", "visitor"))
		r.say(id, schemas.ActionAthlete, "", "BLO")
		if reason := r.state(id, schemas.FileParked); !strings.Contains(reason, "several recordings of the file are nobody's: name the part") {
			t.Errorf("reason %q", reason)
		}
		r.say(id, schemas.ActionAthlete, "part 2", "DIA")
		// Now one is left in question, and BLO was said to be it.
		r.state(id, schemas.FileScored)
		if got := owners(r, id); !strings.Contains(got, "part 1=BLO") || !strings.Contains(got, "part 2=DIA") {
			t.Errorf("owners %s", got)
		}
	})
	t.Run("a part that is not there is told", func(t *testing.T) {
		r := newRig(t)
		id := r.drop("team.csv", whole("AKF", "BLO"))
		r.say(id, schemas.ActionAthlete, "part 7", "DIA")
		if reason := r.state(id, schemas.FileParked); !strings.Contains(reason, `"part 7", which the file does not have; its parts are ["part 0" "part 1"]`) {
			t.Errorf("reason %q", reason)
		}
	})
}

func TestADroppedFileStaysAsItIs(t *testing.T) {
	r := newRig(t)
	id := r.drop("stranger.csv", run("", planned, 160))
	before := r.state(id, schemas.FileParked)
	r.events = nil
	r.say(id, schemas.ActionDrop, "", "")
	if reason := r.state(id, schemas.FileDropped); reason != before {
		t.Errorf("the reason was %q and is %q", before, reason)
	}
	if len(r.events) != 1 || r.told[len(r.told)-1] != schemas.SubjectTest+"none" {
		t.Errorf("the notice is not closed: %+v", r.events)
	}
	// Put through again it stays so, even when the club file knows it by then.
	again := func() {
		r.handle(r.delivery(schemas.SubjectRescore+string(id), schemas.RescoreEvent{File: id, Cause: "again"}))
	}
	again()
	r.state(id, schemas.FileDropped)
	r.reads(strings.Replace(clubYAML, "name: Dia Roy,", "name: Dia Roy, aliases: [stranger],", 1))
	again()
	r.state(id, schemas.FileDropped)
	if os := r.tests(id); len(os) != 0 {
		t.Errorf("a dropped file has tests: %+v", os)
	}
	// Nor does a copy under a better name wake it.
	r.handle(r.delivery(schemas.SubjectOrigin+string(id)+".x", schemas.OriginEvent{File: id, Origin: schemas.Origin{Folder: r.club.Squads[0].Folders[0].Path, Path: "AKF.csv", Squad: "first"}}))
	r.state(id, schemas.FileDropped)
	// Until staff say so.
	r.say(id, schemas.ActionRetry, "", "")
	if o := r.test(id); o.Athlete != "DIA" {
		t.Errorf("outcome %+v", o)
	}
}

func TestWhatWasScoredOfADroppedFileStays(t *testing.T) {
	r := newRig(t)
	id := r.drop("team.csv", content{Parts: []content{run("AKF", planned, 160), run("guest", planned, 160)}})
	r.say(id, schemas.ActionDrop, "", "")
	r.state(id, schemas.FileDropped)
	o := r.test(id)
	if o.Athlete != "AKF" {
		t.Errorf("outcome %+v", o)
	}
	r.correct(o, schemas.ActionExclude, planned)
	if o := r.test(id); o.Staff != schemas.Excluded {
		t.Errorf("a test of a dropped file can't be left out: %+v", o)
	}
	r.state(id, schemas.FileDropped)
}

func TestWhatNoReaderReadsCanBeDropped(t *testing.T) {
	r := newRig(t)
	id := r.drop("AKF.csv", content{Say: "error"})
	r.state(id, schemas.FileParked)
	r.say(id, schemas.ActionDrop, "", "")
	r.state(id, schemas.FileDropped)
}

func TestAParkedFileWhoseBytesAreGoneSaysSo(t *testing.T) {
	r := newRig(t)
	id := r.drop("stranger.csv", run("", planned, 160))
	if _, err := r.broker.DeleteFile(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		r.handle(r.delivery(schemas.SubjectRescore+string(id), schemas.RescoreEvent{File: id, Cause: "again"}))
		if reason := r.state(id, schemas.FileParked); strings.Count(reason, "copy the file into the folder anew") != 1 {
			t.Errorf("reason %q", reason)
		}
	}
	r.say(id, schemas.ActionDrop, "", "")
	r.state(id, schemas.FileDropped)
	r.say(id, schemas.ActionRetry, "", "")
	r.state(id, schemas.FileParked)
}
