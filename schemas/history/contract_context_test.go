package history_test

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

// load returns the load of a trace of the file with every field set.
func load(f *schemas.File, part, athlete string, start time.Time, d time.Duration, minutes float64) schemas.TraceLoad {
	return schemas.TraceLoad{
		FileID: f.ID, Part: part, Athlete: athlete, Squad: "U21", Date: start.Format(time.DateOnly), Version: f.Version,
		Load: schemas.Load{
			Start: start, Duration: d, Minutes: minutes, Coverage: minutes / d.Minutes(), MeanHR: schemas.Num(141.5), PeakHR: schemas.Num(187),
			TRIMP: schemas.Num(2 * minutes), TRIMPMale: schemas.Num(2 * minutes), TRIMPFemale: schemas.Num(1.9 * minutes), Edwards: schemas.Num(3 * minutes),
			Zones: [5]float64{1, 2, 3.5, 4, 0.25}, HRmax: schemas.HRmax{BPM: schemas.Num(199), Source: schemas.HRmaxEstimated, SEE: schemas.Num(10.8)},
			Reasons: []schemas.Reason{{Code: schemas.ReasonLowCoverage, Text: "covers 80 %"}},
		},
	}
}

func value(f *schemas.File, athlete, series string, day int, v float64) schemas.SeriesValue {
	return schemas.SeriesValue{
		Athlete: athlete, Squad: "U21", Date: noon.AddDate(0, 0, day).Format(time.DateOnly), Series: series, Value: v, Unit: "h",
		FileID: f.ID, Version: f.Version,
	}
}

func loadsOf(t testing.TB, s history.Store, athlete string) []schemas.TraceLoad {
	t.Helper()
	ls, err := s.AthleteLoads(t.Context(), athlete, time.Time{}, time.Time{})
	ok(t, err)
	return ls
}

func seriesOf(t testing.TB, s history.Store, athlete string) []schemas.SeriesValue {
	t.Helper()
	vs, err := s.AthleteSeries(t.Context(), athlete, "U21", "", "")
	ok(t, err)
	return vs
}

func TestLoadsAndSeriesFollowTheirFile(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		f := file(1, 7)
		full := load(&f, "p", "anna", noon.Add(250*time.Millisecond), 90*time.Minute+123456789*time.Nanosecond, 80)
		bare := schemas.TraceLoad{FileID: f.ID, Athlete: "anna", Date: "2026-03-05", Version: 7, Load: schemas.Load{Start: noon.AddDate(0, 0, 1)}}
		other := load(&f, "q", "ben", noon, time.Hour, 60)
		sleep, warm := value(&f, "anna", "sleep", 0, 7.5), value(&f, "", "temperature", 0, -3)
		o := outcome(&f, 0, "anna")
		r := history.FileResult{
			File: f, Tests: []schemas.Outcome{o}, Traces: map[schemas.TestID][]schemas.TraceSecond{o.TestID: trace(5)},
			Loads: []schemas.TraceLoad{full, bare, other}, Series: []schemas.SeriesValue{sleep, warm},
		}
		for range 2 { // the same again
			ok(t, s.SaveResult(ctx, r))
		}
		same(t, "Anna's loads", loadsOf(t, s, "anna"), []schemas.TraceLoad{full, bare})
		same(t, "Ben's loads", loadsOf(t, s, "ben"), []schemas.TraceLoad{other})
		same(t, "values", seriesOf(t, s, "anna"), []schemas.SeriesValue{sleep, warm})
		same(t, "the squad's values", seriesOf(t, s, "ben"), []schemas.SeriesValue{warm})
		alone, err := s.AthleteSeries(ctx, "anna", "", "", "")
		ok(t, err)
		same(t, "hers alone", alone, []schemas.SeriesValue{sleep})
		same(t, "rows", one(t, s, "SELECT count(*) FROM loads"), 3)
		from, err := s.AthleteLoads(ctx, "anna", noon.Add(time.Hour), noon.AddDate(0, 0, 2))
		ok(t, err)
		same(t, "from the next day", from, []schemas.TraceLoad{bare})
		to, err := s.AthleteLoads(ctx, "anna", time.Time{}, bare.Start)
		ok(t, err)
		same(t, "before the next day", to, []schemas.TraceLoad{full})
		none, err := s.AthleteSeries(ctx, "anna", "U21", "2026-03-05", "2026-03-06")
		ok(t, err)
		same(t, "values of another day", len(none), 0)

		// Late, then scored again with less inside.
		old := file(1, 6)
		ok(t, s.SaveResult(ctx, history.FileResult{File: old, Loads: []schemas.TraceLoad{load(&old, "p", "anna", noon, time.Hour, 1)}}))
		same(t, "after a late write", loadsOf(t, s, "anna"), []schemas.TraceLoad{full, bare})
		again := file(1, 8)
		kept := load(&again, "p", "ben", noon, time.Hour, 59)
		ok(t, s.SaveResult(ctx, history.FileResult{File: again, Loads: []schemas.TraceLoad{kept}, Series: []schemas.SeriesValue{value(&again, "anna", "sleep", 0, 8)}}))
		same(t, "Anna's, now that it is Ben's", loadsOf(t, s, "anna"), []schemas.TraceLoad(nil))
		of, err := s.FileLoads(ctx, f.ID)
		ok(t, err)
		same(t, "the file's", of, []schemas.TraceLoad{kept})
		same(t, "values", seriesOf(t, s, "anna"), []schemas.SeriesValue{value(&again, "anna", "sleep", 0, 8)})
		parked := file(1, 9)
		ok(t, s.SaveFile(ctx, parked, nil, nil))
		same(t, "loads of a parked file", one(t, s, "SELECT count(*) FROM loads"), 0)
		same(t, "values of a parked file", one(t, s, "SELECT count(*) FROM daily_series"), 0)
	})
}

// The file noticed last has the word, however often and in whatever order the
// files are scored; when it goes, the earlier one's value is back.
func TestALaterFileReplacesADaysValue(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		save := func(n int, v schemas.Version, values ...float64) {
			f := file(n, v)
			f.Origin.Seen = noon.Add(time.Duration(n) * time.Hour)
			r := history.FileResult{File: f}
			for day, x := range values {
				r.Series = append(r.Series, value(&f, "anna", "sleep", day, x))
			}
			ok(t, s.SaveResult(ctx, r))
		}
		want := func(when string, values ...float64) {
			t.Helper()
			var got []float64
			for _, v := range seriesOf(t, s, "anna") {
				got = append(got, v.Value)
			}
			same(t, when, got, values)
		}
		save(1, 1, 7, 7)
		save(2, 2, 8)
		want("corrected", 8, 7)
		save(1, 3, 7, 6)
		want("the first scored again", 8, 6)
		save(2, 4, 9)
		want("the second scored again", 9, 6)
		f1, err := s.FileSeries(ctx, file(1, 0).ID)
		ok(t, err)
		same(t, "values of the first file", len(f1), 2)
		save(2, 5)
		want("the second emptied", 7, 6)
	})
}

func TestContextThatCannotBeRightIsRefused(t *testing.T) {
	t.Parallel()
	f := file(1, 5)
	aLoad := func(change func(*schemas.TraceLoad)) history.FileResult {
		l := load(&f, "p", "anna", noon, time.Hour, 50)
		change(&l)
		return history.FileResult{File: f, Loads: []schemas.TraceLoad{load(&f, "q", "anna", noon, time.Hour, 50), l}}
	}
	aValue := func(change func(*schemas.SeriesValue)) history.FileResult {
		v := value(&f, "anna", "sleep", 0, 8)
		change(&v)
		return history.FileResult{File: f, Series: []schemas.SeriesValue{value(&f, "ben", "sleep", 0, 8), v}}
	}
	cases := map[string]history.FileResult{
		"a load of nobody":             aLoad(func(l *schemas.TraceLoad) { l.Athlete = "" }),
		"a load of another file":       aLoad(func(l *schemas.TraceLoad) { l.FileID = "other" }),
		"a load of another version":    aLoad(func(l *schemas.TraceLoad) { l.Version = 4 }),
		"a load twice":                 aLoad(func(l *schemas.TraceLoad) { l.Part = "q" }),
		"a load without a date":        aLoad(func(l *schemas.TraceLoad) { l.Date = "yesterday" }),
		"a load of NaN minutes":        aLoad(func(l *schemas.TraceLoad) { l.Minutes = math.NaN() }),
		"an infinite zone":             aLoad(func(l *schemas.TraceLoad) { l.Zones[4] = math.Inf(1) }),
		"a value of another file":      aValue(func(v *schemas.SeriesValue) { v.FileID = "other" }),
		"a value of another version":   aValue(func(v *schemas.SeriesValue) { v.Version = 4 }),
		"a value twice":                aValue(func(v *schemas.SeriesValue) { v.Athlete = "ben" }),
		"a value without a date":       aValue(func(v *schemas.SeriesValue) { v.Date = "2026-02-30" }),
		"a value without a series":     aValue(func(v *schemas.SeriesValue) { v.Series = "" }),
		"a value that is not a number": aValue(func(v *schemas.SeriesValue) { v.Value = math.NaN() }),
	}
	eachEngine(t, func(t *testing.T, s history.Store) {
		for name, r := range cases {
			if err := s.SaveResult(t.Context(), r); !errors.Is(err, history.ErrInvalid) {
				t.Errorf("%s: %v", name, err)
			}
		}
		same(t, "files", one(t, s, "SELECT count(*) FROM files"), 0)
	})
}

// Watch and strap on one session are one session; the views and the functions
// of package schemas agree on which counts and what the days come to.
func TestLoadBeforeATest(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		n := 0
		add := func(day int, at time.Duration, d time.Duration, minutes float64, change func(*schemas.TraceLoad)) {
			n++
			f := file(n, 1)
			f.ID = schemas.FileID(fmt.Sprintf("f%02d", n))
			l := load(&f, "", "anna", time.Date(2026, 3, 4, 0, 0, 0, 0, time.UTC).AddDate(0, 0, day).Add(at), d, minutes)
			if change != nil {
				change(&l)
			}
			ok(t, s.SaveResult(ctx, history.FileResult{File: f, Loads: []schemas.TraceLoad{l}}))
		}
		add(-8, 10*time.Hour, time.Hour, 60, nil)                // too long ago
		add(-7, 10*time.Hour, time.Hour, 50, nil)                // f02
		add(-3, 10*time.Hour, 90*time.Minute, 70, nil)           // f03: strap
		add(-3, 10*time.Hour+10*time.Minute, time.Hour, 59, nil) // f04: watch, does not count
		add(-3, 11*time.Hour+20*time.Minute, time.Hour, 40, nil) // f05: ten minutes shared: a session of its own
		add(-1, 17*time.Hour, time.Hour, 55, nil)                // f06
		add(-1, 17*time.Hour, time.Hour, 55, nil)                // f07: as good: the first counts
		add(0, 12*time.Hour, time.Hour, 60, nil)                 // the test's own session
		add(-1, 8*time.Hour, time.Hour, 99, func(l *schemas.TraceLoad) { l.Athlete = "ben" })
		f := file(99, 1)
		o := outcome(&f, 0, "anna")
		lone := outcome(&f, 1, "cleo")
		save(t, s, f, o, lone)

		r, err := s.Query(ctx, "SELECT file_id FROM loads WHERE counts = 0 ORDER BY file_id", 0)
		ok(t, err)
		same(t, "stood for", r.Values, [][]any{{"f04"}, {"f07"}})
		r, err = s.Query(ctx, "SELECT local_date, sessions, minutes, recorded_min, coverage, trimp, edwards FROM athlete_days WHERE athlete = 'anna' AND local_date = '2026-03-01'", 0)
		ok(t, err)
		same(t, "a day", signed(r.Values), [][]any{{"2026-03-01", int64(2), 110.0, 150.0, 110.0 / 150, 220.0, 330.0}})
		check := func(when string) {
			t.Helper()
			r, err := s.Query(ctx, `SELECT sessions_3d, minutes_3d, coverage_3d, trimp_3d, edwards_3d, sessions_7d, minutes_7d, coverage_7d, trimp_7d, edwards_7d
				FROM tests_with_load WHERE local_date = '2026-03-04' ORDER BY athlete`, 0)
			ok(t, err)
			var want [][]any
			for _, who := range []string{"anna", "cleo"} {
				loads := loadsOf(t, s, who)
				var row []any
				for _, days := range []int{3, 7} {
					b := schemas.LoadBefore(loads, "2026-03-04", days)
					row = append(row, int64(b.Sessions), number(b.Minutes), number(b.Coverage), number(b.TRIMP), number(b.Edwards))
				}
				want = append(want, row)
			}
			same(t, when, signed(r.Values), want)
		}
		check("loads before the tests")
		same(t, "by hand", schemas.LoadBefore(loadsOf(t, s, "anna"), "2026-03-04", 7), schemas.LoadSum{
			Days: 7, Sessions: 4, Minutes: schemas.Num(215), Coverage: schemas.Num(215.0 / 270), TRIMP: schemas.Num(430), Edwards: schemas.Num(645)})
		add(-5, 10*time.Hour, time.Hour, 60, func(l *schemas.TraceLoad) { l.TRIMP = schemas.Number{} })
		check("one session without TRIMP")
		b := schemas.LoadBefore(loadsOf(t, s, "anna"), "2026-03-04", 7)
		same(t, "a part is no whole", []bool{b.TRIMP.Present(), b.Edwards.Present()}, []bool{false, true})
	})
}

// Overlaps of any shape: the view and CountedLoads decide the same.
func TestTheViewCountsAsTheFunctionDoes(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		round := 0
		rapid.Check(t, func(rt *rapid.T) {
			round++
			who := fmt.Sprint("anna", round)
			f := file(1000+round, 1)
			r := history.FileResult{File: f}
			for i := range rapid.IntRange(1, 6).Draw(rt, "recordings") {
				start := noon.Add(time.Duration(rapid.IntRange(0, 12).Draw(rt, "start")) * 10 * time.Minute)
				d := time.Duration(rapid.IntRange(1, 9).Draw(rt, "length")) * 10 * time.Minute
				r.Loads = append(r.Loads, load(&f, fmt.Sprint(i), who, start, d, float64(rapid.IntRange(0, 3).Draw(rt, "minutes"))))
			}
			if err := s.SaveResult(t.Context(), r); err != nil {
				rt.Fatal(err)
			}
			rows, err := s.Query(t.Context(), "SELECT part FROM loads WHERE counts = 1 AND athlete = '"+who+"' ORDER BY part", 0)
			if err != nil {
				rt.Fatal(err)
			}
			var got, want []string
			for _, v := range rows.Values {
				got = append(got, fmt.Sprint(v[0]))
			}
			for _, l := range schemas.CountedLoads(r.Loads) {
				want = append(want, l.Part)
			}
			if fmt.Sprint(got) != fmt.Sprint(want) {
				rt.Fatalf("the view counts %v, the function %v", got, want)
			}
			if len(want) == 0 {
				rt.Fatal("of some recordings none counts")
			}
		})
	})
}

func number(n schemas.Number) any {
	if v, ok := n.Get(); ok {
		return v
	}
	return nil
}

// signed gives counts the type that SQLite has for them.
func signed(rows [][]any) [][]any {
	for _, r := range rows {
		for i, v := range r {
			if u, isUnsigned := v.(uint64); isUnsigned {
				r[i] = int64(u)
			}
		}
	}
	return rows
}
