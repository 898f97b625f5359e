package formats

import (
	"bytes"
	"encoding/csv"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
)

// babel converts a FIT file with gpsbabel (Debian's package gpsbabel), an
// independent reader of FIT and writer of TCX, GPX and CSV. Its option
// allpoints keeps records without a position.
func babel(tb testing.TB, content []byte, to string) []byte {
	tb.Helper()
	dir := tb.TempDir()
	in, out := filepath.Join(dir, "in.fit"), filepath.Join(dir, "out")
	if err := os.WriteFile(in, content, 0o600); err != nil {
		tb.Fatal(err)
	}
	args := []string{"-i", "garmin_fit,allpoints", "-f", in, "-o", to, "-F", out}
	if strings.HasPrefix(to, "unicsv") {
		args = append([]string{"-t"}, args...)
	}
	if msg, err := exec.Command("gpsbabel", args...).CombinedOutput(); err != nil {
		tb.Fatalf("gpsbabel (install Debian's package gpsbabel): %v\n%s", err, msg)
	}
	made, err := os.ReadFile(out)
	if err != nil {
		tb.Fatal(err)
	}
	return made
}

// babelRow is a record as gpsbabel reads it. Absent values are NaN; it writes
// heart rate 0 as nothing.
type babelRow struct {
	at                 time.Time
	hr, speed, cadence float64
}

func babelRows(t *testing.T, content []byte) []babelRow {
	t.Helper()
	table, err := csv.NewReader(bytes.NewReader(babel(t, content, "unicsv,utc=0"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range table[0] {
		column[name] = i
	}
	value := func(row []string, name string) float64 {
		i, ok := column[name]
		if !ok || row[i] == "" {
			return math.NaN()
		}
		v, err := strconv.ParseFloat(row[i], 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	var rows []babelRow
	for _, row := range table[1:] {
		at, err := time.Parse("2006/01/02 15:04:05", row[column["Date"]]+" "+row[column["Time"]])
		if err != nil {
			t.Fatal(err)
		}
		rows = append(rows, babelRow{at, value(row, "Heartrate"), value(row, "Speed"), value(row, "Cadence")})
	}
	return rows
}

// realActivities are all FIT files of the module with records and a heart rate.
func realActivities(t *testing.T) map[string][]byte {
	t.Helper()
	root := fitModule(t)
	found := map[string][]byte{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".fit" {
			return err
		}
		content, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if _, _, decodeErr := Decode(path, content, Options{}); decodeErr == nil {
			rel, _ := filepath.Rel(root, path)
			found[rel] = content
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(found) < 12 {
		t.Fatalf("only %d real activities with heart rate read, there are at least 12", len(found))
	}
	return found
}

// TestFITAgreesWithGPSBabel compares every sample of every real activity with
// gpsbabel 1.8. Of chained files gpsbabel reads only the first part, and it
// does not merge heart rates that a strap stored apart: there only the records
// it has are compared.
func TestFITAgreesWithGPSBabel(t *testing.T) {
	for name, content := range realActivities(t) {
		t.Run(name, func(t *testing.T) {
			trace := decodeOne(t, name, content)
			rows := babelRows(t, content)
			if len(rows) > len(trace.Samples) || len(rows) != len(trace.Samples) && !strings.Contains(name, "chained") {
				t.Fatalf("%d samples, gpsbabel has %d", len(trace.Samples), len(rows))
			}
			merged := strings.Contains(strings.Join(trace.Notes, " "), "stored apart")
			for i, row := range rows {
				compareRow(t, i, &trace, row, merged)
				if t.Failed() {
					return
				}
			}
		})
	}
}

func compareRow(t *testing.T, i int, trace *schemas.Trace, row babelRow, merged bool) {
	t.Helper()
	s := trace.Samples[i]
	if at := trace.Start.Add(s.At); !at.Equal(row.at) {
		t.Errorf("sample %d at %v, gpsbabel says %v", i, at, row.at)
	}
	switch {
	case math.IsNaN(row.hr):
		if s.HR != 0 && !merged {
			t.Errorf("sample %d: heart rate %v, gpsbabel has none", i, s.HR)
		}
	case row.hr >= 254:
		if s.HR != 0 {
			t.Errorf("sample %d: heart rate %v from %v, which is no reading", i, s.HR, row.hr)
		}
	case float64(s.HR) != row.hr:
		t.Errorf("sample %d: heart rate %v, gpsbabel says %v", i, s.HR, row.hr)
	}
	// gpsbabel writes speed with two decimals, and whole turns of cadence.
	if s.Have&schemas.HasSpeed != 0 && !math.IsNaN(row.speed) && math.Abs(float64(s.Speed)-row.speed) > 0.00501 {
		t.Errorf("sample %d: speed %v, gpsbabel says %v", i, s.Speed, row.speed)
	}
	if s.Have&schemas.HasSpeed == 0 && !math.IsNaN(row.speed) {
		t.Errorf("sample %d: no speed, gpsbabel says %v", i, row.speed)
	}
	if s.Have&schemas.HasCadence != 0 && !math.IsNaN(row.cadence) && math.Abs(float64(s.Cadence)-2*row.cadence) >= 2 {
		t.Errorf("sample %d: cadence %v steps a minute, gpsbabel says %v turns", i, s.Cadence, row.cadence)
	}
}

// TestKnownCounts holds the counts on which three independent readers agree
// (gpsbabel 1.8, muktihari/fit 0.26.1, npm fit-file-parser 6.1.2).
func TestKnownCounts(t *testing.T) {
	for _, c := range []struct {
		file             []string
		samples, reading int
		low, high        float32
	}{
		{[]string{"from_garmin_forums", "triathlon_summary_last.fit"}, 4043, 3364, 72, 178},
		{[]string{"from_garmin_forums", "triathlon_summary_first.fit"}, 4043, 3364, 72, 178},
		{[]string{"from_official_sdk", "activity_lowbattery.fit"}, 3976, 3976, 61, 167},
	} {
		t.Run(c.file[1], func(t *testing.T) {
			trace := decodeOne(t, c.file[1], realFIT(t, c.file...))
			if n := len(trace.Samples); n != c.samples {
				t.Errorf("%d samples, want %d", n, c.samples)
			}
			if n := countReadings(trace.Samples); n != c.reading {
				t.Errorf("%d heart rates, want %d", n, c.reading)
			}
			low, high := float32(999), float32(0)
			for _, s := range trace.Samples {
				if s.HR > 0 {
					low, high = min(low, s.HR), max(high, s.HR)
				}
			}
			if low != c.low || high != c.high {
				t.Errorf("heart rates %v to %v, want %v to %v", low, high, c.low, c.high)
			}
		})
	}
}

// TestTCXAndGPXAgreeWithFIT reads the TCX and GPX that gpsbabel makes of each
// real activity, and compares them with our own reading of the FIT file.
func TestTCXAndGPXAgreeWithFIT(t *testing.T) {
	for name, content := range realActivities(t) {
		fit := decodeOne(t, name, content)
		rows := babelRows(t, content)
		if len(rows) < 10 || countHR(rows) == 0 {
			continue // gpsbabel finds no heart rate there
		}
		for format, to := range map[string]string{TCX: "gtrnctr,course=0", GPX: "gpx,garminextensions"} {
			t.Run(name+" as "+format, func(t *testing.T) {
				// The largest is 27 h long, beyond the default.
				traces, got, err := Decode(name, babel(t, content, to), Options{Limits: Limits{Bytes: 128 << 20}})
				if err != nil || got != format || len(traces) != 1 {
					t.Fatalf("%d traces of format %q, %v", len(traces), got, err)
				}
				compareTraces(t, &traces[0], &fit, rows)
			})
		}
	}
}

func countHR(rows []babelRow) int {
	n := 0
	for _, r := range rows {
		if r.hr > 0 {
			n++
		}
	}
	return n
}

func compareTraces(t *testing.T, got, fit *schemas.Trace, rows []babelRow) {
	t.Helper()
	if len(got.Samples) != len(rows) {
		t.Fatalf("%d samples, want %d", len(got.Samples), len(rows))
	}
	for i, s := range got.Samples {
		want := fit.Samples[i]
		if math.IsNaN(rows[i].hr) {
			want.HR = 0 // merged from the strap, which gpsbabel does not do
		}
		switch {
		case !got.Start.Add(s.At).Equal(fit.Start.Add(want.At)):
			t.Fatalf("sample %d at %v, in FIT at %v", i, s.At, want.At)
		case s.HR != want.HR:
			t.Fatalf("sample %d: heart rate %v, in FIT %v", i, s.HR, want.HR)
		case s.Have&want.Have&schemas.HasSpeed != 0 && math.Abs(float64(s.Speed-want.Speed)) > 0.001:
			t.Fatalf("sample %d: speed %v, in FIT %v", i, s.Speed, want.Speed)
		case s.Have&want.Have&schemas.HasCadence != 0 && math.Abs(float64(s.Cadence-want.Cadence)) >= 2:
			t.Fatalf("sample %d: cadence %v, in FIT %v", i, s.Cadence, want.Cadence)
		}
	}
}

func decodeOne(t *testing.T, name string, content []byte) schemas.Trace {
	t.Helper()
	traces, _, err := Decode(name, content, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(traces) != 1 {
		t.Fatalf("%s: %d traces, want 1", name, len(traces))
	}
	return traces[0]
}
