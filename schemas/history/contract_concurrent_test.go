package history_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

// Whatever the order of writes, also at one time, the same rows stand.
func TestAnyOrderOfWritesGivesTheSameRows(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		files := 0
		rapid.Check(t, func(rt *rapid.T) {
			files++
			ctx := context.Background()
			athletes := rapid.SliceOfN(rapid.SampledFrom([]string{"anna", "ben"}), 1, 4).Draw(rt, "athletes by version")
			found := rapid.SliceOfN(rapid.IntRange(0, 7), len(athletes), len(athletes)).Draw(rt, "tests found by version")
			order := rapid.SliceOfN(rapid.IntRange(0, len(athletes)-1), 0, 4).Draw(rt, "order of writes")
			order = append(order, rapid.Permutation(seq(len(athletes))).Draw(rt, "and each once")...)
			lanes := rapid.IntRange(1, 3).Draw(rt, "writers")
			write := func(v int) ([]schemas.Outcome, error) {
				f := file(files, schemas.Version(v))
				f.ID = schemas.NewFileID(fmt.Appendf(nil, "%s %d", t.Name(), files))
				var tests []schemas.Outcome
				for n := range 3 {
					if found[v]&(1<<n) != 0 {
						tests = append(tests, outcome(&f, n, athletes[v]+fmt.Sprint(files)))
					}
				}
				return tests, s.SaveFile(ctx, f, tests, nil)
			}
			var wg sync.WaitGroup
			errs := make([]error, lanes)
			for lane := range lanes {
				wg.Go(func() {
					for i := lane; i < len(order); i += lanes {
						_, err := write(order[i])
						errs[lane] = errors.Join(errs[lane], err)
					}
				})
			}
			wg.Wait()
			if err := errors.Join(errs...); err != nil {
				rt.Fatal(err)
			}
			want, err := write(len(athletes) - 1)
			if err != nil {
				rt.Fatal(err)
			}
			for _, who := range []string{"anna", "ben"} {
				got, err := s.AthleteTests(ctx, who+fmt.Sprint(files), "")
				if err != nil {
					rt.Fatal(err)
				}
				var mine []schemas.Outcome
				if athletes[len(athletes)-1] == who {
					mine = want
				}
				if !slices.Equal(ids(got), ids(mine)) {
					rt.Fatalf("%s has %v, want %v", who, ids(got), ids(mine))
				}
			}
		})
	})
}

func seq(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// Two stores on one database stand for two processes.
func TestWritersOfSeveralProcesses(t *testing.T) {
	t.Parallel()
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel()
			ctx, address := t.Context(), e.address(t)
			stores := []history.Store{open(t, address), open(t, address)}
			const writers, each = 4, 8
			var wg sync.WaitGroup
			for w := range writers {
				wg.Go(func() {
					s := stores[w%2]
					for i := range each {
						f := file(w*each+i, 1)
						o := outcome(&f, 0, fmt.Sprint("athlete ", w))
						if err := s.SaveFile(ctx, f, []schemas.Outcome{o}, map[schemas.TestID][]schemas.TraceSecond{o.TestID: trace(90)}); err != nil {
							t.Error(err)
						}
						// An acknowledged write is seen by the other process at once.
						if _, found, err := stores[(w+1)%2].Test(ctx, o.TestID); err != nil || !found {
							t.Errorf("test %s after its write: found %v, %v", o.TestID, found, err)
						}
						as := []schemas.Assessment{assessment(o.TestID, 1)}
						if err := errors.Join(s.SaveAssessments(ctx, as), s.SaveAlert(ctx, alert(fmt.Sprint("a", w, i), 1), []schemas.Message{message("shared")}),
							s.SaveCorrection(ctx, schemas.Correction{ID: fmt.Sprint("c", i)}), s.MarkSlot(ctx, "job", fmt.Sprint(i), noon),
							s.SaveAthletes(ctx, []history.AthleteRow{{ID: "anna"}, {ID: "ben"}})); err != nil {
							t.Error(err)
						}
					}
				})
			}
			wg.Wait()
			const n = writers * each
			same(t, "rows", counts(t, stores[0]), map[string]int64{
				"files": n, "tests": n, "trace_seconds": n * 90, "assessments": n * 2, "alerts": n, "messages": 1, "corrections": each, "athletes": 2, "slots": each,
			})
		})
	}
}

// A reader sees a file as it was or as it is, never half of a write.
func TestAReaderNeverSeesHalfAWrite(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		ctx := t.Context()
		write := func(v schemas.Version) {
			f := file(1, v)
			save(t, s, f, outcome(&f, 0, "anna"), outcome(&f, int(v)%2+1, "anna"))
		}
		write(1)
		done := make(chan struct{})
		go func() {
			defer close(done)
			for v := schemas.Version(2); v < 40; v++ {
				write(v)
			}
		}()
		for last := schemas.Version(0); ; {
			tests, err := s.AthleteTests(ctx, "anna", "")
			ok(t, err)
			if len(tests) != 2 || tests[0].Version != tests[1].Version || tests[0].Version < last {
				t.Fatalf("a reader that had seen version %d saw %v", last, ids(tests))
			}
			last = tests[0].Version
			select {
			case <-done:
				return
			default:
			}
		}
	})
}

func TestReopeningKeepsEverything(t *testing.T) {
	t.Parallel()
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel()
			address := e.address(t)
			f := file(1, 5)
			want := outcome(&f, 0, "anna")
			for range 3 {
				s, err := history.Open(t.Context(), address)
				ok(t, err)
				save(t, s, f, want)
				ok(t, s.Close())
			}
			got, err := open(t, address).AthleteTests(t.Context(), "anna", "")
			ok(t, err)
			same(t, "tests", got, []schemas.Outcome{want})
		})
	}
}

// Several processes start on one new database.
func TestOpeningAtOnce(t *testing.T) {
	t.Parallel()
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel()
			address := e.address(t)
			var wg sync.WaitGroup
			for range 4 {
				wg.Go(func() {
					s, err := history.Open(context.Background(), address)
					if err == nil {
						err = errors.Join(s.SaveFile(context.Background(), file(1, 1), nil, nil), s.Close())
					}
					if err != nil {
						t.Error(err)
					}
				})
			}
			wg.Wait()
			same(t, "rows", counts(t, open(t, address)), map[string]int64{"files": 1})
		})
	}
}
