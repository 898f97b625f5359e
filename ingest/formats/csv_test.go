package formats

import (
	"testing"
	"time"
)

func TestHeadingsInTheWordsPeopleUse(t *testing.T) {
	for _, c := range []struct {
		text    string
		kind    columnKind
		unit    string
		athlete string
	}{
		{"HR", hrColumn, "", ""},
		{"heart_rate", hrColumn, "", ""},
		{"Heart rate (bpm)", hrColumn, "bpm", ""},
		{"HeartRate[bpm]", hrColumn, "bpm", ""},
		{"bpm", hrColumn, "bpm", ""},
		{"Herzfrequenz", hrColumn, "", ""},
		{"Fréquence cardiaque", hrColumn, "", ""},
		{"Frecuencia cardíaca (ppm)", hrColumn, "bpm", ""},
		{"Frequência cardíaca", hrColumn, "", ""},
		{"Hartslag", hrColumn, "", ""},
		{"Ada HR", hrColumn, "", "Ada"},
		{"HR_Ada_Berg", hrColumn, "", "Ada Berg"},
		{"Ada Berg (bpm)", hrColumn, "bpm", "Ada Berg"},
		{"Ada - heart rate [bpm]", hrColumn, "bpm", "Ada"},
		{"avg HR", otherColumn, "", ""},
		{"Ada max HR", otherColumn, "", ""},
		{"HR zone", otherColumn, "", ""},
		{"% HRmax", otherColumn, "", ""},
		{"Time", timeColumn, "", ""},
		{"time_s", elapsedColumn, "s", ""},
		{"Time (s)", elapsedColumn, "s", ""},
		{"Time (ms)", elapsedColumn, "ms", ""},
		{"Elapsed Time", elapsedColumn, "", ""},
		{"Uhrzeit", clockColumn, "", ""},
		{"Timestamp (UTC)", stampColumn, "utc", ""},
		{"Date/Time", stampColumn, "", ""},
		{"Datum", dateColumn, "", ""},
		{"Speed (km/h)", speedColumn, "km/h", ""},
		{"speed_m/s", speedColumn, "m/s", ""},
		{"Vitesse km/h", speedColumn, "km/h", ""},
		{"Geschwindigkeit [m/s]", speedColumn, "m/s", ""},
		{"Cadence (rpm)", cadenceColumn, "rpm", ""},
		{"SPM", cadenceColumn, "spm", ""},
		{"Player Name", athleteColumn, "", ""},
		{"Vorname", firstNameColumn, "", ""},
		{"Altitude (m)", unnamedColumn, "", "Altitude (m)"},
		{"Player Load", otherColumn, "", ""},
		{"Ada", unnamedColumn, "", "Ada"},
	} {
		h := readHeading(c.text)
		if h.kind != c.kind || h.unit != c.unit || h.athlete != c.athlete {
			t.Errorf("%q: kind %d, unit %q, athlete %q; want %d, %q, %q", c.text, h.kind, h.unit, h.athlete, c.kind, c.unit, c.athlete)
		}
	}
}

func TestTimesInTheWaysPeopleWriteThem(t *testing.T) {
	at := func(s string) int64 {
		v, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			t.Fatal(err)
		}
		return v.UnixNano()
	}
	clock := func(d time.Duration) int64 { return int64(d) }
	for _, c := range []struct {
		cell, unit string
		order      DateOrder
		form       timeForm
		ns         int64
		ambiguous  bool
	}{
		{"2025-09-02T10:04:59Z", "", 0, instantForm, at("2025-09-02T10:04:59Z"), false},
		{"2025-09-02T10:04:59.250+02:00", "", 0, instantForm, at("2025-09-02T08:04:59.25Z"), false},
		{"2025-09-02 10:04:59 +0200", "", 0, instantForm, at("2025-09-02T08:04:59Z"), false},
		{"2025-09-02 10:04:59 UTC", "", 0, instantForm, at("2025-09-02T10:04:59Z"), false},
		{"2025-09-02T10:04:59", "", 0, wallForm, at("2025-09-02T10:04:59Z"), false},
		{"2025-09-02 10:04", "", 0, wallForm, at("2025-09-02T10:04:00Z"), false},
		{"2025/09/02 10:04:59", "", 0, wallForm, at("2025-09-02T10:04:59Z"), false},
		{"20250902 10:04:59", "", 0, wallForm, at("2025-09-02T10:04:59Z"), false},
		{"02.09.2025 10:04:59", "", 0, wallForm, at("2025-09-02T10:04:59Z"), false},
		{"2.9.25 10:04:59,5", "", 0, wallForm, at("2025-09-02T10:04:59.5Z"), false},
		{"02/09/2025 10:04:59", "", 0, wallForm, at("2025-09-02T10:04:59Z"), true},
		{"02/09/2025 10:04:59", "", MonthFirst, wallForm, at("2025-02-09T10:04:59Z"), false},
		{"09/13/2025 1:04:59 PM", "", 0, wallForm, at("2025-09-13T13:04:59Z"), false},
		{"13-09-2025 12:00:00 am", "", 0, wallForm, at("2025-09-13T00:00:00Z"), false},
		{"2 Sep 2025 10:04:59", "", 0, wallForm, at("2025-09-02T10:04:59Z"), false},
		{"Sep 2, 2025, 10:04:59", "", 0, wallForm, at("2025-09-02T10:04:59Z"), false},
		{"10:04:59", "", 0, clockForm, clock(10*time.Hour + 4*time.Minute + 59*time.Second), false},
		{"10:04:59.125", "", 0, clockForm, clock(10*time.Hour + 4*time.Minute + 59*time.Second + 125*time.Millisecond), false},
		{"9:05 pm", "", 0, clockForm, clock(21*time.Hour + 5*time.Minute), false},
		{"90:05", "", 0, clockForm, clock(90*time.Minute + 5*time.Second), false},
		{"12.5", "", 0, elapsedForm, clock(12500 * time.Millisecond), false},
		{"12500", "ms", 0, elapsedForm, clock(12500 * time.Millisecond), false},
		{"1.5", "min", 0, elapsedForm, clock(90 * time.Second), false},
		{"1756807499", "", 0, instantForm, at("2025-09-02T10:04:59Z"), false},
		{"1756807499250", "", 0, instantForm, at("2025-09-02T10:04:59.25Z"), false},
		{"1756807499250", "ms", 0, instantForm, at("2025-09-02T10:04:59.25Z"), false},
	} {
		got, ok := parseCellTime(c.cell, c.unit, c.order)
		if !ok || got.form != c.form || got.ns != c.ns || got.ambiguous != c.ambiguous {
			t.Errorf("%q: %v %+v, want form %d, %d, ambiguous %v", c.cell, ok, got, c.form, c.ns, c.ambiguous)
		}
	}
	for _, cell := range []string{"", "soon", "25:61:00x", "10:99:00", "13:00:00 pm", "2025-13-01 10:00:00", "2025-02-30", "32.01.2025", "1:2:3:4", "10:04:61.5", "NaN", "Inf", "0x10"} {
		if got, ok := parseCellTime(cell, "", 0); ok {
			t.Errorf("%q was read as %+v", cell, got)
		}
	}
}

// TestDateOrderIsSettledByTheFileOrThePath: 03/04/2025 is two dates until
// something tells which.
func TestDateOrderIsSettledByTheFileOrThePath(t *testing.T) {
	april := time.Date(2025, 4, 3, 10, 0, 0, 0, time.UTC)
	march := time.Date(2025, 3, 4, 10, 0, 0, 0, time.UTC)
	const one = "date,time,hr\n03/04/2025,10:00:00,120\n"
	for _, c := range []struct {
		name, text string
		opt        Options
		want       time.Time
	}{
		{"a day beyond the twelfth later on", one + "13/04/2025,10:00:00,1\n", Options{}, april},
		{"a month that can be none", one + "03/24/2025,10:00:00,1\n", Options{}, march},
		{"the path", one, Options{Date: april}, april},
		{"the path, month first", one, Options{Date: march}, march},
		{"the option", one, Options{DateOrder: DayFirst}, april},
		{"the option, month first", one, Options{DateOrder: MonthFirst}, march},
		{"am and pm", "date time,hr\n03/04/2025 10:00:00 AM,120\n", Options{}, march},
		{"the same either way", "date,time,hr\n04/04/2025,10:00:00,120\n", Options{}, time.Date(2025, 4, 4, 10, 0, 0, 0, time.UTC)},
	} {
		t.Run(c.name, func(t *testing.T) {
			traces, _, err := Decode("a.csv", []byte(c.text), c.opt)
			if err != nil {
				t.Fatal(err)
			}
			if !traces[0].Start.Equal(c.want) {
				t.Errorf("start %v, want %v", traces[0].Start, c.want)
			}
		})
	}
}

// TestElapsedTimesCountFromTheBestStartKnown goes through what can say when a
// recording began.
func TestElapsedTimesCountFromTheBestStartKnown(t *testing.T) {
	opt := testOptions(t)
	table := "Time (s),HR\n5,120\n6,121\n"
	withClock := opt
	withClock.Date = time.Date(2025, 9, 2, 9, 30, 0, 0, opt.Zone)
	for _, c := range []struct {
		name, text string
		opt        Options
		want       string
	}{
		{"the date of the path, from midnight", table, opt, "2025-09-01T22:00:05Z"},
		{"date and time of the path", table, withClock, "2025-09-02T07:30:05Z"},
		{"a start with a zone in the file", "Start: 2025-09-03T10:00:00Z\n" + table, opt, "2025-09-03T10:00:05Z"},
		{"a start without a zone", "Start time,2025-09-03 10:00:00\n" + table, opt, "2025-09-03T08:00:05Z"},
		{"date and clock time apart", "Date;03.09.2025\nStart time;10:00:00\n" + table, opt, "2025-09-03T08:00:05Z"},
		{"the clock time in the file, the date of the path", "# Start time: 10:00:00\n" + table, opt, "2025-09-02T08:00:05Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			traces, _, err := Decode("a.csv", []byte(c.text), c.opt)
			if err != nil {
				t.Fatal(err)
			}
			if got := traces[0].Start.Format(time.RFC3339); got != c.want {
				t.Errorf("start %s, want %s; notes %q", got, c.want, traces[0].Notes)
			}
		})
	}
}

// TestSpeedWithoutAUnitIsToldByItsValues: and says so in a note.
func TestSpeedWithoutAUnitIsToldByItsValues(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       float32
	}{
		{"a run in m/s", "time,hr,speed\n1,120,3.5\n2,120,3.6\n3,120,1\n", 3.5},
		{"a run in km/h", "time,hr,speed\n1,120,12\n2,120,12\n3,120,4\n", 12 / 3.6},
		{"one sprint in km/h", "time,hr,speed\n1,120,4\n2,120,4\n3,120,25\n", 4 / 3.6},
	} {
		traces, _, err := Decode("a.csv", []byte(c.text), testOptions(t))
		if err != nil {
			t.Fatal(err)
		}
		if got := traces[0].Samples[0].Speed; got-c.want > 1e-3 || c.want-got > 1e-3 {
			t.Errorf("%s: %v m/s, want %v", c.name, got, c.want)
		}
		if len(traces[0].Notes) == 0 {
			t.Errorf("%s: no note", c.name)
		}
	}
}
