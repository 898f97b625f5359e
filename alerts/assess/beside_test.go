package assess_test

import (
	"testing"
	"time"

	"canter.example/alerts/assess"
	"canter.example/schemas"
)

// TestWhatStandsBesideATest: sleep of 7.5 h ± 0.25 for weeks, and one value.
func TestWhatStandsBesideATest(t *testing.T) {
	day := time.Date(2026, 10, 6, 0, 0, 0, 0, time.UTC)
	date := func(before int) string { return day.AddDate(0, 0, -before).Format(time.DateOnly) }
	for _, c := range []struct {
		name   string
		nights int
		last   float64
		when   int
		want   int
	}{
		{"a night as always does not stand out", 20, 7.6, 0, 0},
		{"a short night does", 20, 5, 0, 1},
		{"so does that of the day before", 20, 5, 1, 1},
		{"one two days before is over", 20, 5, 2, 0},
		{"nine nights are too few to know what is usual", 9, 5, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			var values []schemas.SeriesValue
			for i := range c.nights {
				values = append(values, schemas.SeriesValue{Athlete: "AKF", Series: "sleep", Unit: "h", Date: date(i + 3), Value: 7.25 + 0.5*float64(i%2)})
			}
			values = append(values, schemas.SeriesValue{Athlete: "AKF", Series: "sleep", Unit: "h", Date: date(c.when), Value: c.last})
			if b := assess.NewBeside(date(0), nil, values); len(b.Standing) != c.want {
				t.Errorf("%d stand out, want %d: %+v", len(b.Standing), c.want, b.Standing)
			}
		})
	}
	var loads []schemas.TraceLoad
	for i := range 40 {
		at := day.AddDate(0, 0, -i)
		loads = append(loads, schemas.TraceLoad{Athlete: "AKF", FileID: schemas.FileID(date(i)), Date: date(i), Load: schemas.Load{Start: at, Duration: time.Hour, Minutes: 60, TRIMP: schemas.Num(50)}})
	}
	b := assess.NewBeside(date(0), loads, nil)
	if b.Loads[0].TRIMP.Or(0) != 150 || b.Loads[1].TRIMP.Or(0) != 350 || b.UsualTRIMP.Or(0) != 350 {
		t.Errorf("loads of 3 and 7 days and a usual week: %+v", b)
	}
}

func TestWhatTheSquadSharedOnADay(t *testing.T) {
	value := func(squad, athlete, date, series string, v float64) schemas.SeriesValue {
		return schemas.SeriesValue{Squad: squad, Athlete: athlete, Date: date, Series: series, Value: v, Unit: "°C"}
	}
	values := []schemas.SeriesValue{
		value("", "", "2026-10-06", "temperature", 30), value("U21", "", "2026-10-06", "temperature", 31),
		value("U21", "", "2026-10-06", "humidity", 40), value("U21", "AKF", "2026-10-06", "sleep", 7),
		value("U21", "", "2026-10-07", "temperature", 12), value("U21", "", "2026-08-20", "temperature", 12),
	}
	for _, c := range []struct {
		name  string
		days  []string
		usual schemas.Number
	}{
		{"no usual before three days", []string{"2026-09-22", "2026-09-29"}, schemas.Number{}},
		{"the mean of those before", []string{"2026-09-15", "2026-09-22", "2026-09-29"}, schemas.Num(20)},
	} {
		t.Run(c.name, func(t *testing.T) {
			all := values
			for i, d := range c.days {
				all = append(all, value("U21", "", d, "temperature", 19+float64(i)), value("", "", d, "temperature", 90))
			}
			got := assess.Conditions("2026-10-06", all)
			if len(got) != 2 || got[0].Series != "humidity" || got[1].Value != 31 || got[1].Usual != c.usual || got[1].N != len(c.days) {
				t.Errorf("conditions %+v", got)
			}
		})
	}
}
