package engine

import (
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files anew")

// recoveries are the recoveries of Barak et al. 2011, table 2 (FACTS 4.7), with
// noise of a strap: end 147 bpm, rest 89 or 79 bpm.
var recoveries = []struct {
	name            string
	rest, fall, tau float64
	seconds         int
	noise           float64
}{
	{"seated", 89, 58, 52.5, 300, 1},
	{"active", 100, 47, 74.1, 300, 1.5},
	{"supine", 79, 68, 32.0, 180, 1},
	{"noisy", 89, 58, 52.5, 240, 4},
}

func writeRecoveries(t *testing.T, path string) {
	var b strings.Builder
	b.WriteString("series,t,hr\n")
	r := rand.New(rand.NewPCG(4, 7))
	for _, c := range recoveries {
		for k := range c.seconds {
			hr := c.rest + c.fall*math.Exp(-float64(k)/c.tau) + c.noise*r.NormFloat64()
			fmt.Fprintf(&b, "%s,%d,%.2f\n", c.name, k, hr)
		}
	}
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

func readTable(t *testing.T, b []byte) (rows []map[string]string) {
	t.Helper()
	all, err := csv.NewReader(strings.NewReader(string(b))).ReadAll()
	if err != nil || len(all) < 2 {
		t.Fatalf("no table: %v\n%s", err, b)
	}
	for _, line := range all[1:] {
		row := map[string]string{}
		for i, v := range line {
			row[all[0][i]] = v
		}
		rows = append(rows, row)
	}
	return rows
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestDecayAgreesWithR compares the recovery fit with R's nls, run now, and R's
// with its golden values. Debian's package r-base-core has Rscript; the test
// fails without it.
func TestDecayAgreesWithR(t *testing.T) {
	data, golden := filepath.Join("testdata", "recovery.csv"), filepath.Join("testdata", "decay.golden.csv")
	if *update {
		writeRecoveries(t, data)
	}
	out, err := exec.Command("Rscript", "--vanilla", filepath.Join("testdata", "decay.R"), data).Output()
	if err != nil {
		t.Fatalf("Rscript (Debian: apt-get install r-base-core): %v", err)
	}
	if *update {
		if err := os.WriteFile(golden, out, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	points, err := os.ReadFile(data)
	if err != nil {
		t.Fatal(err)
	}
	series := map[string][2][]float64{}
	for _, r := range readTable(t, points) {
		s := series[r["series"]]
		s[0], s[1] = append(s[0], number(t, r["t"])), append(s[1], number(t, r["hr"]))
		series[r["series"]] = s
	}
	now, then := readTable(t, out), readTable(t, kept)
	if len(now) != len(recoveries) || len(then) != len(recoveries) {
		t.Fatalf("R fitted %d series, the golden file holds %d, want %d", len(now), len(then), len(recoveries))
	}
	for i, r := range now {
		d, ok := fitDecay(series[r["series"]][0], series[r["series"]][1])
		if !ok {
			t.Errorf("%s: no fit", r["series"])
			continue
		}
		for name, got := range map[string]float64{"rest": d.rest, "fall": d.fall, "tau": d.tau, "tau_se": d.tauSE, "sigma": d.sigma} {
			want := number(t, r[name])
			if math.Abs(got-want) > 2e-5*math.Abs(want) {
				t.Errorf("%s: %s = %.6f, R has %.6f", r["series"], name, got, want)
			}
			if old := number(t, then[i][name]); math.Abs(old-want) > 1e-6*math.Abs(want) {
				t.Errorf("%s: R's %s is %.9f now, the golden file has %.9f", r["series"], name, want, old)
			}
		}
	}
}

// TestTauRecoversPublishedConstants: the constants of Barak et al. 2011 (FACTS
// 4.7) come back within two standard errors and more.
func TestTauRecoversPublishedConstants(t *testing.T) {
	for _, c := range recoveries {
		r := rand.New(rand.NewPCG(11, uint64(c.seconds)))
		var s series
		for k := range c.seconds + 5 {
			s.at = append(s.at, float64(k))
			s.hr = append(s.hr, c.rest+c.fall*math.Exp(-float64(k)/c.tau)+c.noise*r.NormFloat64())
			s.hold = append(s.hold, 1)
			s.why = append(s.why, kept)
		}
		tau, se := recoveryTau(&s, 0)
		v, ok := tau.Get()
		if !ok {
			t.Errorf("%s: no constant", c.name)
			continue
		}
		if math.Abs(v-c.tau) > 3*se.Or(0) || se.Or(0) > 0.15*c.tau {
			t.Errorf("%s: tau %.1f ± %.1f, want %.1f", c.name, v, se.Or(0), c.tau)
		}
	}
}

func TestTauNeedsThreeMinutesOfQuietRecovery(t *testing.T) {
	make := func(n int, drop func(k int) bool, hr func(k int) float64) *series {
		var s series
		for k := range n {
			s.at = append(s.at, float64(k))
			s.hr = append(s.hr, hr(k))
			s.hold = append(s.hold, 1)
			why := kept
			if drop(k) {
				why = noReading
			}
			s.why = append(s.why, why)
		}
		return &s
	}
	never := func(int) bool { return false }
	quiet := func(k int) float64 { return 89 + 58*math.Exp(-float64(k)/52.5) }
	for _, c := range []struct {
		name string
		s    *series
		want bool
	}{
		{"181 s of recovery give one", make(181, never, quiet), true},
		{"179 s are too few", make(179, never, quiet), false},
		{"half of the readings missing", make(300, func(k int) bool { return k%2 == 0 }, quiet), false},
		{"running again after 100 s", make(300, never, func(k int) float64 {
			if k > 100 {
				return 150
			}
			return quiet(k)
		}), false},
		{"a heart rate that rises is no recovery", make(300, never, func(k int) float64 { return 120 + 0.1*float64(k) }), false},
	} {
		if tau, se := recoveryTau(c.s, 0); tau.Present() != c.want || se.Present() != c.want {
			t.Errorf("%s: tau %s, se %s", c.name, tau.Text(1), se.Text(1))
		}
	}
}
