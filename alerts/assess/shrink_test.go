package assess_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"canter.example/alerts/assess"
	"canter.example/schemas"
)

func readCSV(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Golden values of limma, the reference implementation of Smyth 2004; the
// script stands beside the data.
func TestShrinkageAgreesWithLimma(t *testing.T) {
	type squad struct{ v, df, post []float64 }
	squads, priors := map[string]*squad{}, map[string][2]float64{}
	for _, r := range readCSV(t, "shrink.csv") {
		s := squads[r[0]]
		if s == nil {
			s = &squad{}
			squads[r[0]] = s
		}
		s.v, s.df, s.post = append(s.v, number(t, r[1])), append(s.df, number(t, r[2])), append(s.post, number(t, r[5]))
		priors[r[0]] = [2]float64{number(t, r[3]), number(t, r[4])}
	}
	if len(squads) < 4 {
		t.Fatalf("only %d squads in the golden file", len(squads))
	}
	for name, s := range squads {
		s02, d0 := assess.EstimatePrior(s.v, s.df)
		near(t, name+" s0²", s02, priors[name][0], 1e-8)
		if want := priors[name][1]; math.IsInf(want, 1) {
			if !math.IsInf(d0, 1) {
				t.Errorf("%s d0: got %g, want +Inf", name, d0)
			}
			continue
		}
		near(t, name+" d0", d0, priors[name][1], 1e-7)
		for i := range s.v {
			post, _ := assess.Shrink(s.v[i], s.df[i], s02, d0)
			near(t, name+" squeezed", post, s.post[i], 1e-8)
		}
	}
}

// lme4 on sleepstudy, Reaction ~ 1 + (1 | Subject), REML: residual SD
// 44.2590689, subject SD 35.7538495. The design is balanced, so the moment
// estimates are the REML ones.
func TestPooledSDAgreesWithLme4(t *testing.T) {
	tests := map[string][]schemas.Outcome{}
	rows := readCSV(t, "sleepstudy.csv")
	for i, r := range rows {
		o := test(i, r[0], 0)
		o.Start = day0.AddDate(0, 0, len(tests[r[0]]))
		o.HRexBPM, o.HRmax, o.Recovery = schemas.Num(number(t, r[1])), schemas.HRmax{}, nil
		tests[r[0]] = append(tests[r[0]], o)
	}
	if len(rows) != 180 {
		t.Fatalf("%d rows, want 180", len(rows))
	}
	s := settings
	s.MaxTests = 10
	p := assess.PooledSD(tests, version, day0.AddDate(1, 0, 0), nil, s)
	if len(p.Spreads) != 1 {
		t.Fatalf("%d spreads, want 1: %+v", len(p.Spreads), p.Spreads)
	}
	sp := p.Spreads[0]
	near(t, "within-athlete SD", sp.SD, 44.2590689, 1e-6)
	near(t, "between-athlete SD", sp.BetweenSD.Or(math.NaN()), 35.7538495, 5e-6) // the data are kept to four decimals
	if sp.Athletes != 18 || sp.DF != 162 {
		t.Errorf("%d athletes, %d df, want 18 and 162", sp.Athletes, sp.DF)
	}
}

func TestPooledSDLeavesOutWhatItMust(t *testing.T) {
	squad := func(change func(o *schemas.Outcome)) assess.Pooled {
		tests := map[string][]schemas.Outcome{}
		for a := range 6 {
			id := "a" + strconv.Itoa(a)
			for w := range 6 {
				o := test(10*a+w, id, 150+float64(w%3))
				o.Start = day0.AddDate(0, 0, 7*w)
				if change != nil && w == 5 {
					change(&o)
				}
				tests[id] = append(tests[id], o)
			}
		}
		return assess.PooledSD(tests, version, day0.AddDate(0, 0, 7*5+1), nil, settings)
	}
	all, without := squad(nil), squad(func(o *schemas.Outcome) { o.Staff = schemas.Excluded })
	if all.Spreads[0].DF != 30 {
		t.Fatalf("%d df, want 6 athletes × 5", all.Spreads[0].DF)
	}
	for name, change := range map[string]func(o *schemas.Outcome){
		"another protocol version": func(o *schemas.Outcome) { o.ProtocolVersion = "old" },
		"a rejected test":          func(o *schemas.Outcome) { o.Quality = schemas.Reject },
		"a doubtful test":          func(o *schemas.Outcome) { o.Quality = schemas.Check },
		"a test of the day itself": func(o *schemas.Outcome) { o.Start = o.Start.AddDate(0, 0, 2) },
		"somebody else's test":     func(o *schemas.Outcome) { o.Athlete = "z" },
	} {
		t.Run(name, func(t *testing.T) {
			if got := squad(change).Spreads[0]; got != without.Spreads[0] {
				t.Errorf("got %+v, want as without it: %+v", got, without.Spreads[0])
			}
		})
	}
}

func TestShrinkLiesBetweenOwnAndPrior(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s2, s02 := rapid.Float64Range(0, 100).Draw(t, "s2"), rapid.Float64Range(0, 100).Draw(t, "s02")
		d, d0 := rapid.Float64Range(1, 30).Draw(t, "d"), rapid.Float64Range(0, 30).Draw(t, "d0")
		v, df := assess.Shrink(s2, d, s02, d0)
		if v < min(s2, s02)-1e-9 || v > max(s2, s02)+1e-9 {
			t.Fatalf("%g lies outside %g and %g", v, s2, s02)
		}
		if df != d+d0 {
			t.Fatalf("df %g, want %g", df, d+d0)
		}
	})
}

func TestOneStillAthleteDoesNotMakeTheSquadStill(t *testing.T) {
	tests := map[string][]schemas.Outcome{}
	for a := range 6 {
		id := "a" + strconv.Itoa(a)
		for w := range 5 {
			hr := 150 + 4*math.Sin(float64(7*a+3*w))
			if a == 0 {
				hr = 150
			}
			o := test(10*a+w, id, hr)
			o.Start = day0.Add(time.Duration(w) * 7 * 24 * time.Hour)
			tests[id] = append(tests[id], o)
		}
	}
	sp := assess.PooledSD(tests, version, day0.AddDate(1, 0, 0), nil, settings).Spreads[0]
	if sp.PriorSD < sp.SD/2 {
		t.Errorf("prior SD %.3g beside a pooled SD of %.3g", sp.PriorSD, sp.SD)
	}
}
