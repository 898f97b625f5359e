package ingest

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

var t0 = time.Date(2026, 9, 1, 8, 0, 0, 0, time.UTC)

func at(s float64) time.Time { return t0.Add(time.Duration(s * float64(time.Second))) }

func TestAFileIsFinishedWhenItHasBeenQuiet(t *testing.T) {
	type step struct {
		at        float64
		size      int64 // 0 = not there
		again     bool  // publishing failed, to be tried 5 s later
		wantReady bool
		wantWake  float64 // 0 = none
	}
	for name, steps := range map[string][]step{
		"quiet for the settle time": {
			{at: 0, size: 10, wantWake: 2}, {at: 1, size: 10, wantWake: 2}, {at: 2, size: 10, wantReady: true}, {at: 3, size: 10},
		},
		"growing starts the wait anew": {
			{at: 0, size: 10, wantWake: 2}, {at: 1.9, size: 20, wantWake: 3.9}, {at: 2, size: 20, wantWake: 3.9}, {at: 3.9, size: 20, wantReady: true},
		},
		"published once while it stays the same": {
			{at: 0, size: 10, wantWake: 2}, {at: 2, size: 10, wantReady: true}, {at: 9, size: 10}, {at: 99, size: 10},
		},
		"another file under the old name is a new file": {
			{at: 0, size: 10, wantWake: 2}, {at: 2, size: 10, wantReady: true}, {at: 9, size: 11, wantWake: 11}, {at: 11, size: 11, wantReady: true},
		},
		"removed and put back is read again": {
			{at: 0, size: 10, wantWake: 2}, {at: 2, size: 10, wantReady: true}, {at: 3}, {at: 4, size: 10, wantWake: 6}, {at: 6, size: 10, wantReady: true},
		},
		"a failed one waits its delay, then is tried again": {
			{at: 0, size: 10, wantWake: 2}, {at: 2, size: 10, wantReady: true}, {at: 3, size: 10, again: true, wantWake: 8}, {at: 8, size: 10, wantReady: true},
		},
	} {
		t.Run(name, func(t *testing.T) {
			tr := newTracker(2 * time.Second)
			last := stamp{}
			for _, s := range steps {
				if s.again {
					tr.again("f", last, at(s.at), 5*time.Second)
				}
				seen := listing{}
				if s.size > 0 {
					last = stamp{size: s.size, modified: t0}
					seen["f"] = last
				}
				tr.all(at(s.at), seen)
				ready, wake := tr.take(at(s.at))
				if got := len(ready) == 1; got != s.wantReady {
					t.Errorf("at %g s: ready %v, want %v", s.at, got, s.wantReady)
				}
				want := time.Time{}
				if s.wantWake > 0 {
					want = at(s.wantWake)
				}
				if !wake.Equal(want) {
					t.Errorf("at %g s: look again at %s, want %s", s.at, wake, want)
				}
			}
		})
	}
}

// TestNoFileIsHandedOutEarlyTwiceOrNever holds for every way a file may grow.
func TestNoFileIsHandedOutEarlyTwiceOrNever(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		settle := time.Duration(rapid.IntRange(1, 5).Draw(t, "settle")) * time.Second
		tr := newTracker(settle)
		now, size, changed := t0, int64(1), t0
		handed := 0
		scan := func() {
			if rapid.Bool().Draw(t, "lists everything") {
				tr.all(now, listing{"f": {size: size}})
			} else {
				tr.saw(now, "f", stamp{size: size})
			}
			ready, _ := tr.take(now)
			if len(ready) > 0 {
				handed++
				if now.Sub(changed) < settle {
					t.Fatalf("handed out %s after a change, settle time is %s", now.Sub(changed), settle)
				}
			}
		}
		scan()
		for range rapid.IntRange(1, 30).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.IntRange(1, 3000).Draw(t, "ms")) * time.Millisecond)
			if rapid.Bool().Draw(t, "grows") {
				size++
				changed, handed = now, 0
			}
			scan()
			if handed > 1 {
				t.Fatal("handed out twice")
			}
		}
		now = now.Add(settle)
		scan()
		if handed != 1 {
			t.Fatalf("handed out %d times in the end, want once", handed)
		}
	})
}

func TestCompleteTellsWholeFilesFromFilesBeingWritten(t *testing.T) {
	fit := make([]byte, 14+100+2)
	fit[0] = 14
	fit[4] = 100
	copy(fit[8:], ".FIT")
	for name, c := range map[string]struct {
		content string
		want    bool
	}{
		"nothing yet":                  {"", false},
		"whole FIT":                    {string(fit), true},
		"FIT cut short":                {string(fit[:80]), false},
		"two FITs in a chain":          {string(fit) + string(fit), true},
		"second FIT of a chain cut":    {string(fit) + string(fit[:60]), false},
		"whole TCX":                    {"<?xml?><TrainingCenterDatabase><a/></TrainingCenterDatabase>\r\n", true},
		"TCX cut in a tag":             {"<?xml?><TrainingCenterDatabase><a/></Track", false},
		"TCX cut between tags":         {"<TrainingCenterDatabase><a></a>\n", false},
		"whole GPX with a prefix":      {"\xef\xbb\xbf<x:gpx></x:gpx>", true},
		"GPX cut":                      {"<gpx version='1.1'><trk>", false},
		"XML of another kind":          {"<html></html>", true},
		"ZIP without its directory":    {"PK\x03\x04abc", false},
		"ZIP with its directory":       {"PK\x03\x04abcPK\x05\x06" + string(make([]byte, 18)), true},
		"CSV says nothing of its end":  {"time,hr\n1,2", true},
		"XML that ends with a comment": {"<gpx></gpx><!-- bye -->", true},
	} {
		t.Run(name, func(t *testing.T) {
			if got := complete([]byte(c.content)); got != c.want {
				t.Errorf("complete = %v, want %v", got, c.want)
			}
		})
	}
}

func TestNamesThatProgramsGiveToUnfinishedFilesArePassedOver(t *testing.T) {
	got := map[string]bool{}
	for _, n := range []string{"a.fit", ".a.fit", "a.fit.part", "~$book.csv", "a.TMP", "part.csv"} {
		got[n] = unfinishedName(n)
	}
	want := map[string]bool{"a.fit": false, ".a.fit": true, "a.fit.part": true, "~$book.csv": true, "a.TMP": true, "part.csv": false}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestWhatWasSeenWhenIsKnown(t *testing.T) {
	tr := newTracker(2 * time.Second)
	tr.all(at(0), listing{"a": {size: 1}, "b": {size: 1}})
	tr.saw(at(1), "a", stamp{size: 1})
	for _, c := range []struct {
		path string
		at   float64
		want bool
	}{{"a", 0, false}, {"a", 1, true}, {"b", 0, true}, {"b", 1, false}, {"c", 1, false}} {
		if got := tr.sawAt(at(c.at), c.path); got != c.want {
			t.Errorf("%s seen at %g s: %v, want %v", c.path, c.at, got, c.want)
		}
	}
}
