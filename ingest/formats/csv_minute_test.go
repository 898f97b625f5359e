package formats

import "testing"

// TestTimesOfOneMinuteAreReadAsByThemselves: what is known of the minute before
// changes nothing in what a cell means.
func TestTimesOfOneMinuteAreReadAsByThemselves(t *testing.T) {
	cells := []string{
		"2026-03-03 10:04:00", "2026-03-03 10:04:59", "2026-03-03T10:04:07", "2026-03-03T10:04:08", "2026-03-03T10:04:60",
		"2026-03-03T10:04:9 ", "2026-03-03T10:04: 9", "2026-03-03T10:04:-1", "2026-03-03T10:04:0x", "2026-03-03T10:04:1Z",
		"2026-03-03T10:04:11Z", "2026-03-03T10:04:11", "2026-03-03T10:05:11", "2026-03-03T10:05:12.5", "03/03/2026 10:05:13",
		"1999-12-31T23:59:59", "2000-01-01T00:00:00", "2000-01-01T00:00:59", "2099-12-31T23:59:59", "2100-01-01T00:00:00",
		"2100-01-01T00:00:01", "2026-02-29T10:00:00", "2026-02-29T10:00:01", "10:04:07", "10:04:08", "12.5", "",
	}
	reused := 0
	for _, first := range cells {
		for _, second := range cells {
			var times csvTimes
			c, ok := parseCellTime(first, "", Undecided)
			times.keepMinute(first, c, ok)
			got, known := times.sameMinute(second)
			if !known {
				continue
			}
			reused++
			if want, ok := parseCellTime(second, "", Undecided); !ok || got != want {
				t.Errorf("%q after %q is %+v, by itself %+v (%v)", second, first, got, want, ok)
			}
		}
	}
	if reused < 15 {
		t.Errorf("only %d times were known from the minute before", reused)
	}
}
