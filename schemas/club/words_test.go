package club_test

import (
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

func TestDurationsAreReadAsPeopleWriteThem(t *testing.T) {
	for s, want := range map[string]time.Duration{
		"60s": time.Minute, "4m": 4 * time.Minute, "4 min": 4 * time.Minute, "1h30m": 90 * time.Minute,
		"1 h 30 min": 90 * time.Minute, "365d": 365 * 24 * time.Hour, "52w": 52 * 7 * 24 * time.Hour,
		"1.5h": 90 * time.Minute, "250ms": 250 * time.Millisecond, " 2d ": 48 * time.Hour, "0s": 0,
	} {
		if got, err := club.ParseDuration(s); err != nil || got != want {
			t.Errorf("%q: %v, %v, want %v", s, got, err, want)
		}
	}
	for _, s := range []string{"", "4", "m", "-4m", "30s4m", "4m4m", "4x", "4m x", "1e3s", "99999999999w", "４m"} {
		if got, err := club.ParseDuration(s); !errors.Is(err, club.ErrWord) {
			t.Errorf("%q was taken for %v (%v)", s, got, err)
		}
	}
}

func TestADurationThatIsWrittenIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := time.Duration(rapid.Int64Range(0, 5e9).Draw(t, "ms")) * time.Millisecond
		if got, err := club.ParseDuration(club.FormatDuration(d)); err != nil || got != d {
			t.Fatalf("%v is written %q and read as %v (%v)", d, club.FormatDuration(d), got, err)
		}
	})
}

func TestHRexMethodsCarryTheirWindow(t *testing.T) {
	for s, want := range map[string]struct {
		m schemas.HRexMethod
		w time.Duration
	}{
		"final-mean":     {schemas.FinalMean, time.Minute},
		"final-mean:30s": {schemas.FinalMean, 30 * time.Second},
		"peak-mean: 1m":  {schemas.PeakMean, time.Minute},
		"stage-mean:45s": {schemas.StageMean, 45 * time.Second},
	} {
		if m, w, err := club.ParseHRex(s); err != nil || m != want.m || w != want.w {
			t.Errorf("%q: %s, %v, %v", s, m, w, err)
		}
	}
	for _, s := range []string{"", "mean", "final-mean:", "final-mean:60", "final-mean:0s", "final_mean:60s"} {
		if m, w, err := club.ParseHRex(s); !errors.Is(err, club.ErrWord) {
			t.Errorf("%q was taken for %s, %v (%v)", s, m, w, err)
		}
	}
}

func TestBandsAndSizes(t *testing.T) {
	for _, s := range []string{"75-85", "75 - 85 %", "75 to 85", "75%–85%"} {
		if lo, hi, err := club.ParseBand(s); err != nil || lo != 0.75 || hi != 0.85 {
			t.Errorf("%q: %v, %v, %v", s, lo, hi, err)
		}
	}
	for _, s := range []string{"85-75", "75", "0.75-0.85", "75-101", "20-85", "75-75"} {
		if lo, hi, err := club.ParseBand(s); !errors.Is(err, club.ErrWord) {
			t.Errorf("%q was taken for %v, %v (%v)", s, lo, hi, err)
		}
	}
	for s, want := range map[string]int64{"64MB": 64e6, "64 MiB": 64 << 20, "1.5kB": 1500, "12B": 12, "1GB": 1e9, "1KiB": 1024} {
		if n, err := club.ParseSize(s); err != nil || n != want {
			t.Errorf("%q: %d, %v, want %d", s, n, err, want)
		}
	}
	for _, s := range []string{"", "64", "64M", "MB", "-1MB", "99999999999GB"} {
		if n, err := club.ParseSize(s); !errors.Is(err, club.ErrWord) {
			t.Errorf("%q was taken for %d (%v)", s, n, err)
		}
	}
}

// FACTS 2.8: MDC = TE x sqrt 2 x z (Weir 2005); 90 % of TE 1.2 is 2.79, of TE
// 3.4 it is 7.91. FACTS 2.1 (Scott et al. 2018): typical errors 1.2 and 3.4.
func TestDefaultThresholdsAreThePublishedOnes(t *testing.T) {
	d := club.DefaultThresholds()
	mdc := d.HRexTE * 1.41421356 * 1.64485
	if d.HRexTE != 1.2 || d.HRRTE != 3.4 || d.HRRFallBPM < 3.4*1.41421356*1.64485-0.05 || d.HRRFallBPM > 3.4*1.41421356*1.64485+0.05 || d.HRexRisePoints < mdc || d.HRexRisePoints > mdc+0.05 {
		t.Errorf("%+v, MDC %.2f", d, mdc)
	}
	if d.MinBaseline != 4 || d.BaselineTests != 8 || d.BaselineAge != 365*24*time.Hour || d.Z != 2.9 {
		t.Errorf("%+v", d)
	}
}
