package formats

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestTheQuickReaderOfTimesReadsWhatTheLibraryReads compares with time.Parse.
func TestTheQuickReaderOfTimesReadsWhatTheLibraryReads(t *testing.T) {
	layouts := []struct {
		layout string
		zoned  bool
	}{
		{"2006-01-02T15:04:05Z07:00", true}, {"2006-01-02 15:04:05Z07:00", true},
		{"2006-01-02T15:04:05", false}, {"2006-01-02 15:04:05", false},
	}
	rapid.Check(t, func(t *rapid.T) {
		n := func(name string, low, high int) int { return rapid.IntRange(low, high).Draw(t, name) }
		s := fmt.Sprintf("%04d-%02d-%02d%s%02d:%02d:%02d%s%s", n("year", 0, 9999), n("month", 0, 13), n("day", 0, 32),
			rapid.SampledFrom([]string{"T", " ", "t", "_"}).Draw(t, "between"), n("hour", 0, 25), n("minute", 0, 61), n("second", 0, 61),
			rapid.SampledFrom([]string{"", ".5", ".123", ".123456789", ".", ".1234567891", ",5"}).Draw(t, "fraction"),
			rapid.SampledFrom([]string{"", "Z", "z", "+01:00", "-09:30", "+00:00", "+25:00", "+0100", " "}).Draw(t, "zone"))
		got, zoned, ok := parseISO([]byte(s))
		if !ok {
			return // slower readers have a say
		}
		for _, l := range layouts {
			want, err := time.Parse(l.layout, s)
			if err != nil {
				continue
			}
			if !got.Equal(want) || zoned != l.zoned {
				t.Fatalf("%q: got %v zoned %v, time.Parse says %v by %s", s, got, zoned, want, l.layout)
			}
			return
		}
		t.Fatalf("%q: taken for %v, and time.Parse takes it for nothing", s, got)
	})
	for _, s := range []string{"2026-02-28T09:30:00Z", "2026-01-31 23:59:59.25", "2024-02-29T00:00:00+05:45"} {
		if _, _, ok := parseISO([]byte(s)); !ok {
			t.Errorf("%q was left to the slow way", s)
		}
	}
}
