package history_test

import (
	"fmt"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// BenchmarkHistory measures what the stages do most. SaveFile is one file with
// one test and its window of 1,200 s; an athlete has 100 tests, a squad's
// session 25.
func BenchmarkHistory(b *testing.B) {
	for _, e := range []struct {
		name    string
		address func(testing.TB) string
	}{{"SQLite", historytest.SQLite}, {"ClickHouse", historytest.ClickHouse}} {
		b.Run(e.name, func(b *testing.B) { benchmark(b, open(b, e.address(b))) })
	}
}

func benchmark(b *testing.B, s history.Store) {
	ctx := b.Context()
	n := 0
	window := trace(1200)
	write := func(b *testing.B, athlete, session string) schemas.TestID {
		n++
		f := file(n, 1)
		o := outcome(&f, 0, athlete)
		o.Session = session
		start := noon.AddDate(0, 0, -n)
		ok(b, s.SaveResult(ctx, history.FileResult{
			File: f, Tests: []schemas.Outcome{o}, Traces: map[schemas.TestID][]schemas.TraceSecond{o.TestID: window},
			Loads: []schemas.TraceLoad{load(&f, "", athlete, start, time.Hour, 55)}, Series: []schemas.SeriesValue{value(&f, athlete, "sleep", -n, 7.5)},
		}))
		return o.TestID
	}
	b.Run("SaveFile", func(b *testing.B) {
		for b.Loop() {
			write(b, fmt.Sprint("athlete ", n%40), fmt.Sprint("session ", n/40))
		}
	})
	b.Run("SaveFile,16 at once", func(b *testing.B) {
		ids := make(chan int, 1)
		go func() {
			defer close(ids)
			for i := range b.N {
				ids <- i
			}
		}()
		done := make(chan error)
		for range 16 {
			go func() {
				var err error
				for i := range ids {
					f := file(1_000_000+i, 1)
					o := outcome(&f, 0, fmt.Sprint("athlete ", i%40))
					if e := s.SaveFile(ctx, f, []schemas.Outcome{o}, map[schemas.TestID][]schemas.TraceSecond{o.TestID: window}); e != nil {
						err = e
					}
				}
				done <- err
			}()
		}
		for range 16 {
			ok(b, <-done)
		}
	})
	var id schemas.TestID
	for range 100 {
		id = write(b, "anna", "none")
	}
	for range 25 {
		write(b, "other", "today")
	}
	read := func(name string, want int, fn func() (int, error)) {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				got, err := fn()
				ok(b, err)
				if got != want {
					b.Fatalf("%d rows, want %d", got, want)
				}
			}
		})
	}
	read("AthleteTests", 100, func() (int, error) { l, err := s.AthleteTests(ctx, "anna", "sft"); return len(l), err })
	read("SessionTests", 25, func() (int, error) { l, err := s.SessionTests(ctx, "today"); return len(l), err })
	read("Test", 1, func() (int, error) { _, _, err := s.Test(ctx, id); return 1, err })
	read("TraceSeconds", 1200, func() (int, error) { l, err := s.TraceSeconds(ctx, id); return len(l), err })
	read("AthleteLoads", 100, func() (int, error) {
		l, err := s.AthleteLoads(ctx, "anna", time.Time{}, time.Time{})
		return len(l), err
	})
	read("AthleteSeries", 100, func() (int, error) { l, err := s.AthleteSeries(ctx, "anna", "U21", "", ""); return len(l), err })
	read("query,loads before tests", 100, func() (int, error) {
		r, err := s.Query(ctx, "SELECT test_id, trimp_3d FROM tests_with_load WHERE athlete = 'anna'", 0)
		return len(r.Values), err
	})
	read("SaveAssessments", 1, func() (int, error) { return 1, s.SaveAssessments(ctx, []schemas.Assessment{assessment(id, 1)}) })
	read("SaveAlert", 1, func() (int, error) { return 1, s.SaveAlert(ctx, alert("a1", 1), []schemas.Message{message("m1")}) })
	read("query,one trace", 1200, func() (int, error) {
		r, err := s.Query(ctx, "SELECT * FROM trace_seconds WHERE test_id = '"+string(id)+"'", 0)
		return len(r.Values), err
	})
}
