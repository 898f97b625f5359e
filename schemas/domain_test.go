package schemas_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"canter.example/schemas"
)

func TestRuleFoldsCorrections(t *testing.T) {
	at := time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)
	do := func(a schemas.CorrectionAction) schemas.Correction { return schemas.Correction{Action: a} }
	move := func(minutes int) schemas.Correction {
		return schemas.Correction{Action: schemas.ActionStart, Start: at.Add(time.Duration(minutes) * time.Minute)}
	}
	exclude, accept, restore := do(schemas.ActionExclude), do(schemas.ActionAccept), do(schemas.ActionRestore)
	for name, c := range map[string]struct {
		cs   []schemas.Correction
		want schemas.Ruling
	}{
		"nobody said anything":            {nil, schemas.Ruling{}},
		"left out":                        {[]schemas.Correction{exclude}, schemas.Ruling{Verdict: schemas.Excluded}},
		"the last word stands":            {[]schemas.Correction{exclude, accept}, schemas.Ruling{Verdict: schemas.Accepted}},
		"a moved start keeps the verdict": {[]schemas.Correction{exclude, move(1)}, schemas.Ruling{Verdict: schemas.Excluded, Start: at.Add(time.Minute)}},
		"a verdict keeps the moved start": {[]schemas.Correction{move(1), accept}, schemas.Ruling{Verdict: schemas.Accepted, Start: at.Add(time.Minute)}},
		"the last start stands":           {[]schemas.Correction{move(1), move(2)}, schemas.Ruling{Start: at.Add(2 * time.Minute)}},
		"restore takes all back":          {[]schemas.Correction{exclude, move(1), restore}, schemas.Ruling{}},
		"after a restore it begins anew":  {[]schemas.Correction{exclude, move(1), restore, accept}, schemas.Ruling{Verdict: schemas.Accepted}},
	} {
		if got := schemas.Rule(c.cs); got != c.want {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
}

func TestRuleFileFoldsCorrectionsOfTheFile(t *testing.T) {
	do := func(a schemas.CorrectionAction) schemas.Correction { return schemas.Correction{Action: a} }
	name := func(part, athlete string) schemas.Correction {
		return schemas.Correction{Action: schemas.ActionAthlete, Part: part, Athlete: athlete}
	}
	ofATest := schemas.Correction{TestID: "t1", Action: schemas.ActionRestore}
	drop, retry, restore := do(schemas.ActionDrop), do(schemas.ActionRetry), do(schemas.ActionRestore)
	for what, c := range map[string]struct {
		cs   []schemas.Correction
		want schemas.FileRuling
	}{
		"nobody said anything":          {nil, schemas.FileRuling{}},
		"dropped":                       {[]schemas.Correction{drop}, schemas.FileRuling{Dropped: true}},
		"a retry takes the drop back":   {[]schemas.Correction{drop, retry}, schemas.FileRuling{}},
		"so does naming the athlete":    {[]schemas.Correction{drop, name("", "AKF")}, schemas.FileRuling{Athletes: map[string]string{"": "AKF"}}},
		"the last name of a part holds": {[]schemas.Correction{name("a", "AKF"), name("b", "BLO"), name("a", "CEM")}, schemas.FileRuling{Athletes: map[string]string{"a": "CEM", "b": "BLO"}}},
		"a drop keeps the names":        {[]schemas.Correction{name("a", "AKF"), drop}, schemas.FileRuling{Dropped: true, Athletes: map[string]string{"a": "AKF"}}},
		"restore takes all back":        {[]schemas.Correction{name("a", "AKF"), drop, restore}, schemas.FileRuling{}},
		"those of tests are not of it":  {[]schemas.Correction{drop, ofATest}, schemas.FileRuling{Dropped: true}},
	} {
		if d := cmp.Diff(c.want, schemas.RuleFile(c.cs)); d != "" {
			t.Errorf("%s (-want +got):\n%s", what, d)
		}
	}
}

// What counts of corrections is what came after the last restore.
func TestRestoreForgets(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		correction := rapid.Custom(func(t *rapid.T) schemas.Correction {
			return schemas.Correction{
				Action: rapid.SampledFrom([]schemas.CorrectionAction{schemas.ActionExclude, schemas.ActionAccept, schemas.ActionStart}).Draw(t, "action"),
				Start:  instants().Draw(t, "start"),
			}
		})
		before, after := rapid.SliceOf(correction).Draw(rt, "before"), rapid.SliceOf(correction).Draw(rt, "after")
		all := append(append(before, schemas.Correction{Action: schemas.ActionRestore}), after...)
		if schemas.Rule(all) != schemas.Rule(after) {
			rt.Fatalf("%+v is not %+v", schemas.Rule(all), schemas.Rule(after))
		}
	})
}

// A message later in a stream outranks an earlier one, and any of a younger
// stream any of an older.
func TestVersionsOrderEvents(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		const sequences = 1<<31 - 1
		old := time.Unix(rapid.Int64Range(1, 1<<32-2_000_000).Draw(rt, "old stream"), 0)
		young := old.Add(time.Duration(rapid.Int64Range(1, 1e6).Draw(rt, "younger by")) * time.Second)
		a, b := rapid.Uint64Range(1, sequences).Draw(rt, "a"), rapid.Uint64Range(1, sequences).Draw(rt, "b")
		if got := schemas.NewVersion(old, a) < schemas.NewVersion(old, b); got != (a < b) {
			rt.Fatalf("messages %d and %d of one stream: %t", a, b, got)
		}
		if schemas.NewVersion(old, a) >= schemas.NewVersion(young, b) {
			rt.Fatalf("message %d of the old stream outranks %d of the young", a, b)
		}
		if uint64(schemas.NewVersion(young, b)) > math.MaxInt64 {
			rt.Fatal("a version that a signed integer can't hold")
		}
	})
}

// 211 - 0.64 age, SEE 10.8 bpm (Nes et al. 2013, Scand J Med Sci Sports
// 23:697-704; FACTS 4.1).
func TestHRmaxIsEstimatedAsPublished(t *testing.T) {
	for _, c := range []struct {
		born, year int
		want       schemas.Number
	}{
		{2006, 2026, schemas.Num(198.2)}, {1996, 2026, schemas.Num(191.8)}, {1986, 2026, schemas.Num(185.4)},
		{2016, 2026, schemas.Num(204.6)}, {1936, 2026, schemas.Num(153.4)},
		{2017, 2026, schemas.Number{}}, {1935, 2026, schemas.Number{}}, {0, 2026, schemas.Number{}}, {2030, 2026, schemas.Number{}},
	} {
		got := schemas.EstimateHRmax(c.born, c.year)
		if got.BPM.Present() != c.want.Present() || math.Abs(got.BPM.Or(0)-c.want.Or(0)) > 1e-9 {
			t.Errorf("born %d, in %d: %s, want %s", c.born, c.year, got.BPM.Text(2), c.want.Text(2))
		}
		source, see := schemas.HRmaxEstimated, schemas.Num(10.8)
		if !c.want.Present() {
			source, see = schemas.HRmaxUnknown, schemas.Number{}
		}
		if got.Source != source || got.SEE != see {
			t.Errorf("born %d, in %d: %s, SEE %s", c.born, c.year, got.Source, got.SEE.Text(1))
		}
	}
	a := schemas.Athlete{BirthYear: 1996, HRmax: schemas.HRmax{BPM: schemas.Num(201), Source: schemas.HRmaxMeasured}}
	if got := a.HRmaxAt(2026); got != a.HRmax {
		t.Errorf("a measured HRmax gave way to %+v", got)
	}
	a.HRmax.BPM = schemas.Number{}
	if got := a.HRmaxAt(2027); got != schemas.EstimateHRmax(1996, 2027) {
		t.Errorf("without a measured one: %+v", got)
	}
}

func periods() *rapid.Generator[schemas.Period] {
	day := func(t *rapid.T, label string) time.Time {
		n := rapid.IntRange(-1, 12).Draw(t, label)
		if n < 0 {
			return time.Time{}
		}
		return time.Date(2026, 3, 1+n, 0, 0, 0, 0, time.UTC)
	}
	return rapid.Custom(func(t *rapid.T) schemas.Period { return schemas.Period{From: day(t, "from"), To: day(t, "to")} })
}

// Periods are half-open, and overlap exactly when some instant lies in both.
func TestPeriodsContainAndOverlap(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p, q := periods().Draw(rt, "p"), periods().Draw(rt, "q")
		empty := func(p schemas.Period) bool { return !p.From.IsZero() && !p.To.IsZero() && !p.From.Before(p.To) }
		if empty(p) || empty(q) {
			rt.Skip("a period without a day in it")
		}
		both := false
		for n := -20; n < 40; n++ {
			at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, n)
			if in := (p.From.IsZero() || !at.Before(p.From)) && (p.To.IsZero() || at.Before(p.To)); p.Contains(at) != in {
				rt.Fatalf("%v contains %s: %t", p, at, !in)
			}
			both = both || p.Contains(at) && q.Contains(at)
		}
		if p.Overlaps(q) != both || q.Overlaps(p) != both {
			rt.Fatalf("%v and %v overlap: %t and %t, an instant in both: %t", p, q, p.Overlaps(q), q.Overlaps(p), both)
		}
	})
}

func TestSquadAt(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 3, n, 0, 0, 0, 0, time.UTC) }
	a := schemas.Athlete{Squads: []schemas.Membership{
		{Squad: "u21", Period: schemas.Period{To: day(10)}}, {Squad: "first", Period: schemas.Period{From: day(5)}},
	}}
	for n, want := range map[int]string{1: "u21", 9: "u21", 10: "first"} {
		if got := a.SquadAt(day(n)); got != want {
			t.Errorf("on day %d in %q, want %q", n, got, want)
		}
	}
	if !a.In("first", day(5)) || a.In("first", day(4)) || a.In("nowhere", day(5)) {
		t.Error("In does not follow the memberships")
	}
	if left := (&schemas.Athlete{}).SquadAt(day(1)); left != "" {
		t.Errorf("nobody's squad is %q", left)
	}
}
