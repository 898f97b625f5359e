package formats

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"canter.example/schemas"
)

// seriesCorpus returns the inputs of a folder of daily series.
func seriesCorpus(tb testing.TB, folder string, least int) map[string][]byte {
	tb.Helper()
	names, err := filepath.Glob(filepath.Join(testdata, folder, "*.csv"))
	if err != nil || len(names) < least {
		tb.Fatalf("%d inputs in %s, want %d: %v", len(names), folder, least, err)
	}
	out := map[string][]byte{}
	for _, n := range names {
		b, err := os.ReadFile(n)
		if err != nil {
			tb.Fatal(err)
		}
		out[filepath.Base(n)] = b
	}
	return out
}

type goldenSeries struct {
	Found bool
	Error string   `json:",omitempty"`
	Rows  []string `json:",omitempty"`
}

func goldenOfSeries(rows []schemas.SeriesRow, found bool, err error) goldenSeries {
	g := goldenSeries{Found: found}
	if err != nil {
		g.Error = err.Error()
	}
	for _, r := range rows {
		g.Rows = append(g.Rows, strings.TrimSpace(fmt.Sprintf("%d: %s|%s|%s|%s|%g|%s %s", r.Line, r.Athlete, r.Squad, r.Date, r.Series, r.Value, r.Unit, r.Part)))
	}
	return g
}

func TestSeriesReadToTheirGoldens(t *testing.T) {
	for _, c := range []struct {
		folder string
		least  int
		bad    bool
	}{{"series", 10, false}, {filepath.Join("series", "bad"), 13, true}} {
		inputs := seriesCorpus(t, c.folder, c.least)
		all := map[string]goldenSeries{}
		for _, name := range slices.Sorted(maps.Keys(inputs)) {
			rows, found, err := DecodeSeries(name, inputs[name], testOptions(t))
			all[name] = goldenOfSeries(rows, found, err)
			switch {
			case !found:
				t.Errorf("%s was not found to be series", name)
			case c.bad && err == nil:
				t.Errorf("%s was read as if it were sound: %v", name, rows)
			case c.bad:
				checkError(t, name, err)
			case err != nil:
				t.Error(err)
			}
			checkSeries(t, rows)
			if traces, _, err := Decode(name, inputs[name], testOptions(t)); err == nil {
				t.Errorf("%s: Decode makes %d traces of it", name, len(traces))
			}
		}
		checkGolden(t, filepath.Join(testdata, c.folder+".golden.json"), all)
	}
}

// checkSeries checks what holds for all values whatever the file.
func checkSeries(tb testing.TB, rows []schemas.SeriesRow) {
	tb.Helper()
	type key struct{ part, athlete, squad, date, series string }
	seen := map[key]bool{}
	for _, r := range rows {
		k := key{r.Part, r.Athlete, r.Squad, r.Date, r.Series}
		if seen[k] {
			tb.Errorf("twice: %+v", r)
		}
		seen[k] = true
		if _, err := time.Parse(time.DateOnly, r.Date); err != nil || r.Series == "" || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || r.Line < 1 {
			tb.Errorf("no value can be this: %+v", r)
		}
		if strings.ContainsAny(r.Series+r.Unit, "\n\r\t\x00") || strings.ContainsAny(r.Series[:1]+(r.Unit + "x")[:1], "=+-@") {
			tb.Errorf("not neutral: %q in %q", r.Series, r.Unit)
		}
	}
}

// Recordings, readable or not, are never taken for daily values.
func TestRecordingsAreNoSeries(t *testing.T) {
	for _, folder := range []string{"good", "bad"} {
		for name, content := range corpus(t, folder, nil) {
			if rows, found, err := DecodeSeries(name, content, testOptions(t)); found {
				t.Errorf("%s/%s: %d values, %v", folder, name, len(rows), err)
			}
		}
	}
	var b strings.Builder
	b.WriteString("timestamp,athlete,temperature\n")
	for i := range 60 {
		fmt.Fprintf(&b, "2025-09-02 10:00:%02d,Ada,21\n", i)
	}
	for name, text := range map[string]string{
		"a channel at 1 Hz":         b.String(),
		"positions of a day":        "Date,Time,Athlete,Distance\n2025-09-02,10:00:00,Ada,1\n",
		"speeds":                    "athlete,date,speed (km/h)\nAda,2025-09-02,12\n",
		"heart rates":               "athlete,date,sleep,hr\nAda,2025-09-02,7,60\n",
		"a table of something else": "date,price\n2025-09-02,3\n",
		"no date":                   "athlete,sleep\nAda,7\n",
		"prose":                     "dear all,\nthe date is set, sleep well\n",
		"nothing":                   "",
	} {
		if rows, found, err := DecodeSeries("x.csv", []byte(text), testOptions(t)); found {
			t.Errorf("%s: %v, %v", name, rows, err)
		}
	}
}

// A ZIP may hold series beside recordings; one bad sheet does not hold up the others.
func TestSeriesInAZIP(t *testing.T) {
	good, bad := seriesCorpus(t, "series", 10), seriesCorpus(t, filepath.Join("series", "bad"), 13)
	content := zipOf(t, "week/rpe.csv", good["hours.csv"], "week/word.csv", bad["word.csv"],
		"a.fit", plainFIT(t, 120), "inner.zip", zipOf(t, "t.csv", good["squad_wide.csv"]))
	rows, found, err := DecodeSeries("week.zip", content, testOptions(t))
	if !found || len(rows) != 7 || !errors.Is(err, ErrValue) || !strings.Contains(fmt.Sprint(err), "week.zip: entry word.csv, line 3, column 3") {
		t.Errorf("found %t, %d values, %v", found, len(rows), err)
	}
	parts := map[string]int{}
	for _, r := range rows {
		parts[r.Part]++
	}
	if want := map[string]int{"rpe.csv": 3, "inner.zip/t.csv": 4}; !reflect.DeepEqual(parts, want) {
		t.Errorf("parts %v, want %v", parts, want)
	}
	// Beside series only, a file that can't be read is not passed over.
	_, found, err = DecodeSeries("week.zip", zipOf(t, "broken.fit", plainFIT(t, 120)[:20], "week.csv", good["hours.csv"]), testOptions(t))
	if !found || !strings.Contains(fmt.Sprint(err), "week.zip: entry broken.fit") {
		t.Errorf("found %t, %v", found, err)
	}
	if traces, _, err := Decode("week.zip", content, testOptions(t)); err != nil || len(traces) != 1 {
		t.Errorf("Decode: %d traces, %v", len(traces), err)
	}
}

// Whatever is written is read back.
func TestSeriesComeBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		comma := rapid.SampledFrom([]string{",", ";", "\t"}).Draw(rt, "delimiter")
		layout := rapid.SampledFrom([]string{"2006-01-02", "02.01.2006", "20060102", "2 Jan 2006"}).Draw(rt, "dates")
		type cell struct{ day, value int }
		cells := rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) cell {
			return cell{rapid.IntRange(0, 4000).Draw(t, "day"), rapid.IntRange(-1000, 100000).Draw(t, "value")}
		}), 1, 20, func(c cell) int { return c.day }).Draw(rt, "values")
		var b strings.Builder
		fmt.Fprintf(&b, "date%sathlete%ssoreness (points)\n", comma, comma)
		var want []schemas.SeriesRow
		for i, c := range cells {
			date := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, c.day)
			value := fmt.Sprintf("%g", float64(c.value)/10)
			if comma == ";" {
				value = strings.Replace(value, ".", ",", 1)
			}
			fmt.Fprintf(&b, "%s%sq%d%s%s\n", date.Format(layout), comma, i, comma, value)
			want = append(want, schemas.SeriesRow{Athlete: fmt.Sprint("q", i), Date: date.Format(time.DateOnly), Series: "soreness", Value: float64(c.value) / 10, Unit: "points", Line: i + 2})
		}
		got, found, err := DecodeSeries("x.csv", []byte(b.String()), Options{})
		if !found || err != nil || !reflect.DeepEqual(got, want) {
			rt.Fatalf("found %t, %v\n%v\nwant\n%v", found, err, got, want)
		}
	})
}

func FuzzSeries(f *testing.F) {
	for _, folder := range []string{"series", filepath.Join("series", "bad")} {
		for _, content := range seriesCorpus(f, folder, 10) {
			f.Add(content)
		}
	}
	opt := testOptions(f)
	f.Fuzz(func(t *testing.T, content []byte) {
		rows, found, err := DecodeSeries("fuzz", content, opt)
		switch {
		case err != nil:
			checkError(t, "fuzz", err)
		case found && len(rows) == 0:
			t.Error("found, and neither values nor an error")
		}
		if !found && (err != nil || rows != nil) {
			t.Errorf("not found, and yet %d values, %v", len(rows), err)
		}
		checkSeries(t, rows)
		again, _, _ := DecodeSeries("fuzz", content, opt)
		if !reflect.DeepEqual(rows, again) {
			t.Error("read again it differs")
		}
	})
}
