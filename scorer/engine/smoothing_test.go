package engine

import (
	"math"
	"testing"
	"time"

	"canter.example/schemas"
)

// TestAveragingIsSeenAndSparseSamplesAreNot: a trace averaged over 11 s shows
// both turns 5 s late and round; every fifth sample of a sharp one is as sharp.
func TestAveragingIsSeenAndSparseSamplesAreNot(t *testing.T) {
	delay := func(average, every int) float64 {
		sharp := run(90, 160, 18, 40)
		tr := traceOf(1300, every, func(at float64) float64 {
			sum := 0.0
			for k := range average {
				sum += sharp(at - float64(k))
			}
			return sum / float64(average)
		})
		r := Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(205), Explain: true})
		if len(r.Tests) != 1 {
			t.Fatalf("averaged over %d s, a sample every %d s: %d tests", average, every, len(r.Tests))
		}
		return r.Explanation.Tests[0].Delay
	}
	if d := delay(11, 1); math.Abs(d-5) > 1.5 {
		t.Errorf("averaged over 11 s: %.1f s late", d)
	}
	for _, every := range []int{1, 2, 3, 5} {
		if d := delay(1, every); d > 2 {
			t.Errorf("sharp, a sample every %d s: %.1f s late", every, d)
		}
	}
}

// TestReadingsEachSecondTakeTheShortWay: what is known beforehand of a turn read
// every second is, to the last bit, what the readings would give.
func TestReadingsEachSecondTakeTheShortWay(t *testing.T) {
	const n = turnBefore + turnAfter
	long := turn{n: n, near: make([]reading, n), places: make([]tablePlace, n)}
	for i := range long.near {
		r := reading{at: float64(i - turnBefore), hr: 40 * math.Sin(float64(i*i))}
		long.near[i] = r
		long.y, long.yy = long.y+r.hr, long.yy+r.hr*r.hr
	}
	short := long
	short.second = true
	tables := roundTurns()
	for i := range smoothings {
		for _, s := range []*turnShapes{&tables.on[2][i], &tables.off[1][i]} {
			for shift := -turnShift; shift <= turnShift; shift++ {
				byLong, byShort := long.linesOf(s, shift), short.linesOf(s, shift)
				if s.roundness(&long, &byLong, shift) != s.roundness(&short, &byShort, shift) {
					t.Errorf("averaged over %d s, shifted by %d: the short way differs", smoothings[i], shift)
				}
			}
		}
	}
}

// TestLightRunIsNoTestUntilSomethingSaysSo: a run as long as the test at 68 % of
// HRmax is good with the protocol's own speed only.
func TestLightRunIsNoTestUntilSomethingSaysSo(t *testing.T) {
	tr := traceOf(1300, 1, run(80, 139.5, 30, 45))
	req := Request{Protocol: fourMinutes(), HRmax: measured(205)}
	quality := func(r Request, tr *schemas.Trace) schemas.Quality {
		got := tests(tr, r)
		if len(got) != 1 {
			t.Fatalf("%d tests", len(got))
		}
		return got[0].Quality
	}
	if q := quality(req, tr); q != schemas.Check {
		t.Errorf("nothing but heart rate: %s", q)
	}
	planned := req
	planned.Around, planned.Within = tr.Start.Add(10*time.Minute), 10*time.Minute
	if q := quality(planned, tr); q != schemas.Check {
		t.Errorf("at the planned time: %s", q)
	}
}
