package assess_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"canter.example/alerts/assess"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

const version = "v1"

var day0 = time.Date(2026, 1, 6, 9, 30, 0, 0, time.UTC)

var settings = assess.From(club.Thresholds{
	HRexRisePoints: 2.8, HRexRiseBPM: 5.3, HRRFallBPM: 4.6, Z: 1.5,
	MinBaseline: 4, BaselineTests: 8, BaselineAge: 365 * 24 * time.Hour,
	HRexTE: 1.2, HRRTE: 3.4,
})

// test returns a good test of an athlete with a measured HRmax of 200, in week
// n, so that 2 bpm are a point.
func test(n int, athlete string, hrex float64) schemas.Outcome {
	start := day0.AddDate(0, 0, 7*n)
	file := schemas.FileID(fmt.Sprintf("f%03d-%s", n, athlete))
	o := schemas.Outcome{
		TestID: schemas.NewTestID(file, "", "p", 0), FileID: file,
		Athlete: athlete, Squad: "first", Protocol: "p", ProtocolVersion: version,
		Session: schemas.SessionID("first", "p", start.Format(time.DateOnly)),
		Start:   start, HRexBPM: schemas.Num(hrex), HRexPct: schemas.Num(hrex / 2),
		HRmax:    schemas.HRmax{BPM: schemas.Num(200), Source: schemas.HRmaxMeasured},
		Recovery: []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(40)}},
		Coverage: 1, Quality: schemas.Good, Version: 1,
	}
	return o
}

// weeks returns one good test a week with these HRex values in bpm.
func weeks(hrex ...float64) []schemas.Outcome {
	var out []schemas.Outcome
	for i, v := range hrex {
		out = append(out, test(i, "a", v))
	}
	return out
}

func hrexOf(o schemas.Outcome, others []schemas.Outcome) *schemas.Comparison {
	a := assess.Test(o, others, assess.Context{}, settings)
	return a.Comparison(schemas.MeasureHRex, 0)
}

func TestWhichTestsMakeTheBaseline(t *testing.T) {
	base := []float64{158, 160, 162, 160}
	cases := []struct {
		name   string
		change func(tests []schemas.Outcome) []schemas.Outcome
		n      int
		mean   float64
	}{
		{"four earlier tests are a baseline", nil, 4, 80},
		{"the order they come in does not matter", func(ts []schemas.Outcome) []schemas.Outcome {
			slices.Reverse(ts)
			return ts
		}, 4, 80},
		{"the test itself is never in it", func(ts []schemas.Outcome) []schemas.Outcome {
			return append(ts, test(4, "a", 170))
		}, 4, 80},
		{"later tests are not in it", func(ts []schemas.Outcome) []schemas.Outcome {
			return append(ts, test(5, "a", 190))
		}, 4, 80},
		{"doubtful tests are not in it", func(ts []schemas.Outcome) []schemas.Outcome {
			ts[2].Quality = schemas.Check
			return ts
		}, 3, 0},
		{"doubtful tests that staff accepted are in it", func(ts []schemas.Outcome) []schemas.Outcome {
			ts[2].Quality, ts[2].Staff = schemas.Check, schemas.Accepted
			return ts
		}, 4, 80},
		{"tests that staff left out are not in it", func(ts []schemas.Outcome) []schemas.Outcome {
			ts[2].Staff = schemas.Excluded
			return ts
		}, 3, 0},
		{"tests of another protocol version are not in it", func(ts []schemas.Outcome) []schemas.Outcome {
			ts[0].ProtocolVersion = "v0"
			return ts
		}, 3, 0},
		{"other athletes' tests are not in it", func(ts []schemas.Outcome) []schemas.Outcome {
			return append(ts, test(2, "b", 190))
		}, 4, 80},
		{"tests older than the club wants are not in it", func(ts []schemas.Outcome) []schemas.Outcome {
			ts[0].Start = ts[0].Start.AddDate(-1, 0, 0)
			return ts
		}, 3, 0},
		{"only the last eight are in it", func([]schemas.Outcome) []schemas.Outcome {
			var ts []schemas.Outcome
			for i := range 12 {
				v := 100.0
				if i >= 4 {
					v = 160
				}
				o := test(100+i, "a", v)
				o.Start = day0.AddDate(0, 0, 28-7*(12-i))
				ts = append(ts, o)
			}
			return ts
		}, 8, 80},
		{"of two files of one run the good one counts", func(ts []schemas.Outcome) []schemas.Outcome {
			twin := test(3, "a", 190)
			twin.TestID, twin.FileID, twin.Quality, twin.Staff = "twin", "0", schemas.Check, schemas.Accepted
			twin.Start = twin.Start.Add(4 * time.Minute)
			return append(ts, twin)
		}, 4, 80},
		{"of two good files of one run the better covered one counts", func(ts []schemas.Outcome) []schemas.Outcome {
			twin := test(3, "a", 190)
			twin.TestID, twin.FileID, twin.Coverage = "twin", "0", 0.99
			twin.Start = twin.Start.Add(-5 * time.Minute)
			return append(ts, twin)
		}, 4, 80},
		{"of two equal files of one run the lower file id counts", func(ts []schemas.Outcome) []schemas.Outcome {
			twin := test(3, "a", 190)
			twin.TestID, twin.FileID = "twin", "z"
			return append(ts, twin)
		}, 4, 80},
		{"another file of the run at hand is not in it", func(ts []schemas.Outcome) []schemas.Outcome {
			twin := test(4, "a", 190)
			twin.TestID, twin.Start = "twin", twin.Start.Add(-3*time.Minute)
			return append(ts, twin)
		}, 4, 80},
		{"two runs six minutes apart are two tests", func(ts []schemas.Outcome) []schemas.Outcome {
			second := test(3, "a", 160)
			second.TestID, second.Start = "second", second.Start.Add(6*time.Minute)
			return append(ts, second)
		}, 5, 80},
		{"the newest version of a test counts", func(ts []schemas.Outcome) []schemas.Outcome {
			old := test(1, "a", 190)
			old.Version = 0
			return append([]schemas.Outcome{old}, ts...)
		}, 4, 80},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			others := weeks(base...)
			if c.change != nil {
				others = c.change(others)
			}
			got := hrexOf(test(4, "a", 170), others)
			if got.N != c.n {
				t.Fatalf("n %d, want %d", got.N, c.n)
			}
			if c.mean == 0 {
				if got.State != schemas.Building || got.Z.Present() || got.Mean.Present() {
					t.Errorf("verdict on %d tests: %+v", got.N, got)
				}
				return
			}
			near(t, "mean", got.Mean.Or(math.NaN()), c.mean, 1e-9)
		})
	}
}

func TestNumbersOfAComparison(t *testing.T) {
	// Points: 79 80 81 80, mean 80, SD √(2/3); the test at 85.
	o := test(4, "a", 170)
	c := hrexOf(o, weeks(158, 160, 162, 160))
	own := math.Sqrt(2.0 / 3)
	// Prior: TE 1.2 with 4 df. (4·1.44 + 3·0.6667)/7.
	used := math.Sqrt((4*1.44 + 2) / 7)
	for _, n := range []struct {
		what string
		got  schemas.Number
		want float64
	}{
		{"value", c.Value, 85}, {"previous", c.Previous, 80}, {"change from previous", c.PrevChange, 5},
		{"% change from previous", c.PrevPct, 6.25}, {"mean", c.Mean, 80}, {"SD", c.SD, own},
		{"SD used", c.SDUsed, used}, {"change", c.Change, 5}, {"% change", c.Pct, 6.25}, {"z", c.Z, 5 / used},
		// t.975 with 7 df is 2.365 (FACTS 5g).
		{"low", c.PredLow, 80 - 2.36462*used*math.Sqrt(1.25)}, {"high", c.PredHigh, 80 + 2.36462*used*math.Sqrt(1.25)},
		{"typical error", c.TE, 1.2}, {"MDC", c.MDC, 3.33}, {"SWC", c.SWC, 0.8},
	} {
		tolerance := 1e-9
		if n.what == "MDC" || n.what == "low" || n.what == "high" {
			tolerance = 0.005
		}
		near(t, n.what, n.got.Or(math.NaN()), n.want, tolerance)
	}
	if p := c.ProbChange.Or(0); p < 0.99 || p > 1 {
		t.Errorf("probability %g of a change of 5 points at SD %.2f, want over 0.99", p, used)
	}
	if c.Unit != assess.Points || c.State != schemas.Higher || c.N != 4 || c.MinN != 4 {
		t.Errorf("got %s, %s, %d of %d", c.Unit, c.State, c.N, c.MinN)
	}
	if !c.From.Equal(day0) || !c.To.Equal(day0.AddDate(0, 0, 21)) || !c.PreviousTime.Equal(c.To) {
		t.Errorf("baseline from %s to %s, previous %s", c.From, c.To, c.PreviousTime)
	}
	if !strings.Contains(c.SDMethod, "Smyth 2004") {
		t.Errorf("method %q does not say which", c.SDMethod)
	}
}

func TestStates(t *testing.T) {
	num := schemas.Num
	for _, c := range []struct {
		name      string
		change, z schemas.Number
		want      schemas.ComparisonState
	}{
		{"large and unusual is higher", num(3), num(2), schemas.Higher},
		{"the threshold itself counts", num(82.8 - 80), num(1.5), schemas.Higher},
		{"large but usual is inside", num(3), num(1.4), schemas.Inside},
		{"unusual but small is inside", num(2.7), num(9), schemas.Inside},
		{"the other side is lower", num(-3), num(-2), schemas.Lower},
		{"no z is inside", num(3), schemas.Number{}, schemas.Inside},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := assess.StateOf(c.change, c.z, 2.8, 1.5); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

func TestAChangedHRmaxIsNoChangeOfTheAthlete(t *testing.T) {
	tests := weeks(158, 160, 162, 160)
	for i := range tests {
		// As stored before the club measured HRmax anew: 195, estimated.
		tests[i].HRmax = schemas.HRmax{BPM: schemas.Num(195), Source: schemas.HRmaxEstimated}
		tests[i].HRexPct = schemas.Num(100 * tests[i].HRexBPM.Or(0) / 195)
	}
	c := hrexOf(test(4, "a", 160), tests)
	near(t, "change", c.Change.Or(math.NaN()), 0, 1e-9)
	near(t, "mean by the new HRmax", c.Mean.Or(math.NaN()), 80, 1e-9)
}

func TestWithoutHRmaxHRexIsComparedInBPM(t *testing.T) {
	o := test(4, "a", 170)
	o.HRmax, o.HRexPct = schemas.HRmax{Source: schemas.HRmaxUnknown}, schemas.Number{}
	c := hrexOf(o, weeks(158, 160, 162, 160))
	if c.Unit != assess.BPM {
		t.Fatalf("unit %q", c.Unit)
	}
	near(t, "change", c.Change.Or(math.NaN()), 10, 1e-9)
	near(t, "typical error", c.TE.Or(math.NaN()), 1.2*1.9, 1e-9)
}

func TestRecoveryIsFollowedApart(t *testing.T) {
	tests := weeks(160, 160, 160, 160, 160)
	for i := range tests {
		tests[i].Recovery = []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(40 + float64(i%2))}, {Seconds: 120, BPM: schemas.Num(60)}}
	}
	tests[1].Recovery = nil // stopped the watch at once
	o := test(5, "a", 160)
	o.Recovery = []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(25)}, {Seconds: 120}}
	a := assess.Test(o, tests, assess.Context{}, settings)
	if len(a.Comparisons) != 3 {
		t.Fatalf("%d comparisons, want HRex, HRR60, HRR120", len(a.Comparisons))
	}
	hrr := a.Comparison(schemas.MeasureHRR, 60)
	if hrr.N != 4 || hrr.State != schemas.Lower || hrr.Unit != assess.BPM {
		t.Errorf("HRR60: n %d, %s, %s; want 4 with a number, lower, bpm", hrr.N, hrr.State, hrr.Unit)
	}
	if c := a.Comparison(schemas.MeasureHRR, 120); c.State != schemas.NoValue {
		t.Errorf("HRR120 of a test without it is %s", c.State)
	}
	if c := a.Comparison(schemas.MeasureHRex, 0); c.N != 5 || c.State != schemas.Inside {
		t.Errorf("HRex: n %d, %s", c.N, c.State)
	}
}

func TestBuildingSaysHowFarItIs(t *testing.T) {
	c := hrexOf(test(2, "a", 190), weeks(160, 162))
	if c.State != schemas.Building || c.N != 2 || c.MinN != 4 {
		t.Errorf("got %s, %d of %d; want building, 2 of 4", c.State, c.N, c.MinN)
	}
	near(t, "change from previous", c.PrevChange.Or(math.NaN()), 14, 1e-9)
	first := hrexOf(test(0, "a", 160), nil)
	if first.State != schemas.Building || first.N != 0 || first.Previous.Present() {
		t.Errorf("first test ever: %+v", first)
	}
}

// Bound on z (FACTS 5j): a value inside its own baseline of 5 can't pass 1.789.
func TestTheNewTestCanPassTheBoundOfItsOwnBaseline(t *testing.T) {
	s := settings
	s.TEWeight = 0 // own SD only
	a := assess.Test(test(4, "a", 170), weeks(158, 160, 162, 160), assess.Context{}, s)
	if z := a.Comparisons[0].Z.Or(0); z < 1.789*3 {
		t.Errorf("z %g, want far above 1.789", z)
	}
}

// outcomes draws tests of one or two athletes, some invalid, some twins.
func outcomes(t *rapid.T) []schemas.Outcome {
	n := rapid.IntRange(0, 20).Draw(t, "tests")
	var out []schemas.Outcome
	for i := range n {
		o := test(i, rapid.SampledFrom([]string{"a", "a", "a", "b"}).Draw(t, "athlete"), rapid.Float64Range(120, 190).Draw(t, "hrex"))
		o.Start = day0.Add(time.Duration(rapid.IntRange(0, 60*24*90).Draw(t, "minute")) * time.Minute)
		o.Quality = rapid.SampledFrom([]schemas.Quality{schemas.Good, schemas.Good, schemas.Check, schemas.Reject}).Draw(t, "quality")
		o.Staff = rapid.SampledFrom([]schemas.StaffVerdict{schemas.NoVerdict, schemas.NoVerdict, schemas.Accepted, schemas.Excluded}).Draw(t, "staff")
		o.Coverage = rapid.Float64Range(0.5, 1).Draw(t, "coverage")
		if rapid.Bool().Draw(t, "twin") {
			twin := o
			twin.TestID += "2"
			twin.FileID += "2"
			twin.Start = o.Start.Add(time.Duration(rapid.IntRange(-6, 6).Draw(t, "apart")) * time.Minute)
			out = append(out, twin)
		}
		out = append(out, o)
	}
	return out
}

func TestOrderOfArrivalNeverMatters(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tests := outcomes(t)
		o := test(6, "a", 165)
		want := assess.Test(o, tests, assess.Context{}, settings)
		got := assess.Test(o, rapid.Permutation(tests).Draw(t, "order"), assess.Context{}, settings)
		if d := cmp.Diff(want, got, cmp.AllowUnexported(schemas.Number{})); d != "" {
			t.Fatalf("another order, another assessment:\n%s", d)
		}
	})
}

func TestWhatCameAfterNeverMatters(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tests := outcomes(t)
		o := test(6, "a", 165)
		want := assess.Test(o, tests, assess.Context{}, settings)
		var before []schemas.Outcome
		for _, x := range tests {
			if x.Start.Before(o.Start) {
				before = append(before, x)
			}
		}
		if d := cmp.Diff(want, assess.Test(o, before, assess.Context{}, settings), cmp.AllowUnexported(schemas.Number{})); d != "" {
			t.Fatalf("later tests changed it:\n%s", d)
		}
	})
}

func TestHRmaxScalesPointsButNotZOrVerdict(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := settings
		s.TEWeight = 0 // the typical error is in points, so it does scale
		var tests []schemas.Outcome
		for i := range 6 {
			tests = append(tests, test(i, "a", rapid.Float64Range(140, 180).Draw(t, "hrex")))
		}
		o := test(6, "a", rapid.Float64Range(140, 180).Draw(t, "now"))
		a := assess.Test(o, tests, assess.Context{}, s).Comparisons[0]
		o.HRmax.BPM = schemas.Num(rapid.Float64Range(160, 220).Draw(t, "hrmax"))
		b := assess.Test(o, tests, assess.Context{}, s).Comparisons[0]
		if d := cmp.Diff(a.Z.Or(0), b.Z.Or(0), cmpopts.EquateApprox(1e-9, 1e-9)); d != "" {
			t.Fatalf("z depends on HRmax:\n%s", d)
		}
	})
}

func TestABaselineHasASaneInterval(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := assess.Test(test(6, "a", 165), outcomes(t), assess.Context{}, settings)
		for _, c := range a.Comparisons {
			if c.State == schemas.Building || c.State == schemas.NoValue {
				if c.Z.Present() || c.ProbChange.Present() || c.PredLow.Present() {
					t.Fatalf("a verdict without a baseline: %+v", c)
				}
				continue
			}
			low, mean, high := c.PredLow.Or(math.NaN()), c.Mean.Or(math.NaN()), c.PredHigh.Or(math.NaN())
			if !(low < mean && mean < high) {
				t.Fatalf("interval %g to %g around %g", low, high, mean)
			}
			if p := c.ProbChange.Or(-1); p < 0 || p > 1 {
				t.Fatalf("probability %g", p)
			}
			if c.N < c.MinN || c.N > settings.MaxTests {
				t.Fatalf("n %d", c.N)
			}
		}
	})
}

func TestBetterFileOfTheSameRun(t *testing.T) {
	watch, strap := test(3, "a", 160), test(3, "a", 158)
	watch.TestID, watch.FileID, watch.Coverage = "watch", "w", 0.9
	strap.TestID, strap.FileID, strap.Start = "strap", "s", strap.Start.Add(time.Minute)
	if best, better := assess.BetterFile(watch, []schemas.Outcome{strap, watch}); !better || best.TestID != "strap" {
		t.Errorf("got %s, %t; want the strap", best.TestID, better)
	}
	if _, better := assess.BetterFile(strap, []schemas.Outcome{watch, strap}); better {
		t.Error("the strap has a better file")
	}
	strap.Staff = schemas.Excluded
	if _, better := assess.BetterFile(watch, []schemas.Outcome{strap}); better {
		t.Error("a file that staff left out speaks for the run")
	}
}
