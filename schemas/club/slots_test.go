package club_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func plan(zone *time.Location, cron string) *club.Club {
	return &club.Club{Zone: zone, Planned: []club.Planned{{
		ID: "p", Squad: "first", Protocol: "run4", Cron: cron, Within: 15 * time.Minute,
	}}}
}

// The days on which clocks change: tz database, as Go embeds it. Berlin 2026:
// 29 March 02:00 to 03:00, 25 October 03:00 to 02:00. New York 2026: 8 March
// 02:00 to 03:00, 1 November 02:00 to 01:00. Lord Howe 2026: 5 April 02:00 to
// 01:30, 4 October 02:00 to 02:30. Samoa left out 30 December 2011.
func TestSlotsHappenOnceADayWhateverTheClocksDo(t *testing.T) {
	for _, tc := range []struct {
		name, zone, cron, from, to string // local days, to not included
		want                       []string
	}{
		{
			"an ordinary week", "Europe/Berlin", "30 10 * * MON", "2026-02-01", "2026-02-15",
			[]string{"2026-02-02T10:30:00+01:00", "2026-02-09T10:30:00+01:00"},
		},
		{
			"a time that Berlin's clocks jump over comes at the end of the jump", "Europe/Berlin", "30 2 * * *", "2026-03-28", "2026-03-31",
			[]string{"2026-03-28T02:30:00+01:00", "2026-03-29T03:00:00+02:00", "2026-03-30T02:30:00+02:00"},
		},
		{
			"a weekly test on the day of the jump is not lost", "Europe/Berlin", "0 2 * * 0", "2026-03-22", "2026-04-06",
			[]string{"2026-03-22T02:00:00+01:00", "2026-03-29T03:00:00+02:00", "2026-04-05T02:00:00+02:00"},
		},
		{
			"a time that Berlin's clocks show twice comes the first time only", "Europe/Berlin", "30 2 * * *", "2026-10-24", "2026-10-27",
			[]string{"2026-10-24T02:30:00+02:00", "2026-10-25T02:30:00+02:00", "2026-10-26T02:30:00+01:00"},
		},
		{
			"an afternoon test keeps its local time over the change", "Europe/Berlin", "0 17 * * *", "2026-10-24", "2026-10-26",
			[]string{"2026-10-24T17:00:00+02:00", "2026-10-25T17:00:00+01:00"},
		},
		{
			"New York in spring", "America/New_York", "15 2 * * *", "2026-03-07", "2026-03-10",
			[]string{"2026-03-07T02:15:00-05:00", "2026-03-08T03:00:00-04:00", "2026-03-09T02:15:00-04:00"},
		},
		{
			"New York in autumn", "America/New_York", "30 1 * * *", "2026-10-31", "2026-11-03",
			[]string{"2026-10-31T01:30:00-04:00", "2026-11-01T01:30:00-04:00", "2026-11-02T01:30:00-05:00"},
		},
		{
			"Lord Howe's half hour in spring", "Australia/Lord_Howe", "15 2 * * *", "2026-10-03", "2026-10-06",
			[]string{"2026-10-03T02:15:00+10:30", "2026-10-04T02:30:00+11:00", "2026-10-05T02:15:00+11:00"},
		},
		{
			"Lord Howe's half hour in autumn", "Australia/Lord_Howe", "45 1 * * *", "2026-04-04", "2026-04-07",
			[]string{"2026-04-04T01:45:00+11:00", "2026-04-05T01:45:00+11:00", "2026-04-06T01:45:00+10:30"},
		},
		{
			"two times inside one jump are one test", "Europe/Berlin", "10,40 2 * * *", "2026-03-29", "2026-03-30",
			[]string{"2026-03-29T03:00:00+02:00"},
		},
		{
			"a date that the zone left out has no test", "Pacific/Apia", "0 9 * * *", "2011-12-29", "2012-01-01",
			[]string{"2011-12-29T09:00:00-10:00", "2011-12-31T09:00:00+14:00"},
		},
		{
			"day of month and weekday are alternatives", "UTC", "0 9 1 * MON", "2026-06-01", "2026-06-16",
			[]string{"2026-06-01T09:00:00Z", "2026-06-08T09:00:00Z", "2026-06-15T09:00:00Z"},
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			loc := zone(t, tc.zone)
			day := func(s string) time.Time {
				d, err := time.ParseInLocation(time.DateOnly, s, loc)
				if err != nil {
					t.Fatal(err)
				}
				return d
			}
			slots, err := plan(loc, tc.cron).Slots(day(tc.from), day(tc.to))
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, s := range slots {
				got = append(got, s.Time.Format(time.RFC3339))
			}
			if diff := cmp.Diff(tc.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestAnyDailyTimeHasExactlyOneSlotOnEachDate(t *testing.T) {
	zones := []string{"Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "UTC", "America/Santiago", "Africa/Cairo"}
	rapid.Check(t, func(t *rapid.T) {
		loc, err := time.LoadLocation(rapid.SampledFrom(zones).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		minute, hour := rapid.IntRange(0, 59).Draw(t, "minute"), rapid.IntRange(0, 23).Draw(t, "hour")
		first := time.Date(2026, 1, 1+rapid.IntRange(0, 700).Draw(t, "day"), 12, 0, 0, 0, time.UTC)
		cron := time.Date(2026, 1, 1, hour, minute, 0, 0, time.UTC).Format("4 15") + " * * *"
		slots, err := plan(loc, cron).Slots(first, first.AddDate(0, 0, 60))
		if err != nil {
			t.Fatal(err)
		}
		seen := map[string]bool{}
		for i, s := range slots {
			date := s.Time.In(loc).Format(time.DateOnly)
			if seen[date] {
				t.Fatalf("%s twice on %s", cron, date)
			}
			seen[date] = true
			if late := s.Time.In(loc); late.Hour() != hour || late.Minute() != minute {
				if _, before := s.Time.Add(-time.Second).In(loc).Zone(); before == offset(s.Time, loc) {
					t.Fatalf("%s at %s, which no clock change explains", cron, late)
				}
			}
			if i > 0 && s.Time.Sub(slots[i-1].Time) > 26*time.Hour {
				t.Fatalf("%s: nothing between %s and %s", cron, slots[i-1].Time, s.Time)
			}
		}
		if len(slots) != 60 && len(slots) != 59 && len(slots) != 61 {
			t.Fatalf("%d slots in 60 days", len(slots))
		}
	})
}

func offset(t time.Time, loc *time.Location) int {
	_, o := t.In(loc).Zone()
	return o
}

func TestSlotsAskedForInPartsAreTheSame(t *testing.T) {
	c := plan(zone(t, "Europe/Berlin"), "30 2 * * *")
	from := time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)
	all, err := c.Slots(from, from.AddDate(0, 1, 0))
	if err != nil {
		t.Fatal(err)
	}
	var parts []club.Slot
	for h := from; h.Before(from.AddDate(0, 1, 0)); h = h.Add(time.Hour) {
		s, err := c.Slots(h, h.Add(time.Hour))
		if err != nil {
			t.Fatal(err)
		}
		parts = append(parts, s...)
	}
	if len(all) < 30 || len(all) != len(parts) {
		t.Fatalf("%d in one piece, %d in hours", len(all), len(parts))
	}
	for i := range all {
		if all[i].Key() != parts[i].Key() {
			t.Errorf("%s and %s", all[i].Key(), parts[i].Key())
		}
	}
}

func TestASeasonAndItsExceptionsBoundThePlan(t *testing.T) {
	loc := zone(t, "Europe/Berlin")
	c := plan(loc, "30 10 * * MON")
	c.Planned[0].Season = schemas.Period{
		From: time.Date(2026, 1, 12, 0, 0, 0, 0, loc), To: time.Date(2026, 2, 3, 0, 0, 0, 0, loc),
	}
	c.Planned[0].Except = []string{"2026-01-19"}
	slots, err := c.Slots(time.Date(2025, 1, 1, 0, 0, 0, 0, loc), time.Date(2027, 1, 1, 0, 0, 0, 0, loc))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range slots {
		got = append(got, s.Key())
	}
	if diff := cmp.Diff([]string{"p/2026-01-12T10:30", "p/2026-01-26T10:30", "p/2026-02-02T10:30"}, got); diff != "" {
		t.Error(diff)
	}
}

func TestATraceIsOfferedThePlannedTestsItCouldHold(t *testing.T) {
	loc := zone(t, "Europe/Berlin")
	c := plan(loc, "30 10 * * MON")
	c.Planned = append(c.Planned, club.Planned{ID: "q", Squad: "u21", Protocol: "run4", Cron: "30 10 * * MON", Within: time.Minute})
	monday := func(hour, minute int) time.Time { return time.Date(2026, 3, 9, hour, minute, 0, 0, loc) }
	for _, tc := range []struct {
		name        string
		squad       string
		first, last time.Time
		want        int
	}{
		{"it spans the planned time", "first", monday(10, 0), monday(11, 30), 1},
		{"it begins late, within the margin", "first", monday(10, 45), monday(11, 30), 1},
		{"it begins beyond the margin", "first", monday(10, 46), monday(11, 30), 0},
		{"it ends before the margin", "first", monday(9, 0), monday(10, 14), 0},
		{"it ends just within the margin", "first", monday(9, 0), monday(10, 15), 1},
		{"another squad has its own margin", "u21", monday(10, 32), monday(11, 30), 0},
		{"a squad without plans", "women", monday(10, 0), monday(11, 30), 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got := c.SlotsFor(tc.squad, tc.first, tc.last); len(got) != tc.want {
				t.Errorf("%d slots, want %d", len(got), tc.want)
			}
		})
	}
	if s := c.SlotsFor("first", monday(10, 40), monday(10, 40)); len(s) != 1 || s[0].Time.In(loc) != monday(10, 30) {
		t.Errorf("slots at 10:40: %v", s)
	}
}

func TestAPlanThatCannotBeReadIsAnErrorNotAPanic(t *testing.T) {
	for _, cron := range []string{"", "TZ=UTC", "CRON_TZ=", "@daily", "1 2 3", "x x x x x"} {
		if s, err := plan(time.UTC, cron).Slots(time.Unix(0, 0), time.Unix(1e6, 0)); err == nil {
			t.Errorf("%q gave %v", cron, s)
		}
	}
}
