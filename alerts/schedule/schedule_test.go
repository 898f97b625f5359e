package schedule_test

import (
	"testing"
	"testing/synctest"
	"time"
	_ "time/tzdata"

	"pgregory.net/rapid"

	"canter.example/alerts/schedule"
	"canter.example/schemas/club"
)

func in(t *testing.T, zone string) *club.Club {
	t.Helper()
	z, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	return &club.Club{Zone: z}
}

// lived runs a clock from an instant, looking every step and noting each run
// once, as the slot table does; down tells when nobody looks.
func lived(t *testing.T, c *club.Club, jobs []schedule.Job, from, to time.Time, step time.Duration, down func(time.Time) bool) (keys []string, at []time.Time) {
	t.Helper()
	done := map[string]bool{}
	for now := from; now.Before(to); now = now.Add(step) {
		if down != nil && down(now) {
			continue
		}
		runs, err := schedule.Due(c, jobs, now)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range runs {
			if k := r.Job.ID + "@" + r.Key; !done[k] {
				done[k] = true
				keys, at = append(keys, k), append(at, now)
			}
		}
	}
	return keys, at
}

func TestATimeThatTheClocksTouchIsOneRun(t *testing.T) {
	c := in(t, "Europe/Berlin")
	for name, day := range map[string]time.Time{
		"forward": time.Date(2026, 3, 29, 0, 0, 0, 0, time.UTC), "back": time.Date(2026, 10, 25, 0, 0, 0, 0, time.UTC),
	} {
		keys, at := lived(t, c, []schedule.Job{{ID: "j", Cron: "30 2 * * *", Worth: 36 * time.Hour}}, day.Add(-30*time.Hour), day.Add(47*time.Hour), 7*time.Minute, nil)
		seen := map[string]int{}
		for _, k := range keys {
			seen[k]++
		}
		if len(keys) != 4 && len(keys) != 5 || len(seen) != len(keys) {
			t.Errorf("%s: runs %v", name, keys)
		}
		for i := 1; i < len(at); i++ {
			if d := at[i].Sub(at[i-1]); i > 1 && (d < 22*time.Hour || d > 26*time.Hour) {
				t.Errorf("%s: %s between %s and %s", name, d, keys[i-1], keys[i])
			}
		}
	}
}

func TestWhoWasAwayOwesTheLatestRunOnce(t *testing.T) {
	c := in(t, "Europe/Berlin")
	jobs := []schedule.Job{{ID: "weekly", Cron: "0 7 * * MON", Worth: 6 * 24 * time.Hour}, {ID: "off", Worth: time.Hour}, {ID: "daily", Cron: "0 3 * * *", Worth: 36 * time.Hour}}
	from := time.Date(2026, 9, 7, 0, 0, 0, 0, time.UTC)
	away := func(now time.Time) bool {
		return now.After(from.AddDate(0, 0, 5)) && now.Before(from.AddDate(0, 0, 23)) // over three Mondays and eighteen nights
	}
	keys, at := lived(t, c, jobs, from, from.AddDate(0, 0, 24), 10*time.Minute, away)
	weekly, back := 0, 0
	for i, k := range keys {
		if k[:6] == "weekly" {
			weekly++
		}
		if at[i].After(from.AddDate(0, 0, 22)) && at[i].Before(from.AddDate(0, 0, 23).Add(time.Hour)) {
			back++
		}
	}
	if weekly != 2 || back != 2 { // that of the 7th, and of the three missed the last
		t.Errorf("%d weekly runs, %d on return: %v", weekly, back, keys)
	}
}

// TestOnAClock lives a fortnight by the machine's clock, made to run fast.
func TestOnAClock(t *testing.T) {
	c := in(t, "America/New_York")
	synctest.Test(t, func(t *testing.T) {
		tick := time.NewTicker(20 * time.Minute)
		defer tick.Stop()
		done := map[string]bool{}
		for range 14 * 24 * 3 {
			now := <-tick.C
			runs, err := schedule.Due(c, []schedule.Job{{ID: "d", Cron: "15 6 * * *", Worth: 20 * time.Hour}}, now)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range runs {
				if !done[r.Key] && (now.Sub(r.At) > 20*time.Minute || r.At.In(c.Zone).Hour() != 6) && len(done) > 0 {
					t.Errorf("run %s at %s", r.Key, now)
				}
				done[r.Key] = true
			}
		}
		if len(done) != 14 && len(done) != 15 {
			t.Errorf("%d runs in a fortnight", len(done))
		}
	})
}

func TestPeriodsAreWholeLocalDays(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		zone, err := time.LoadLocation(rapid.SampledFrom([]string{"Europe/Berlin", "America/Sao_Paulo", "Asia/Beirut", "Australia/Lord_Howe", "UTC"}).Draw(rt, "zone"))
		if err != nil {
			rt.Fatal(err)
		}
		at := time.Unix(rapid.Int64Range(1_400_000_000, 1_900_000_000).Draw(rt, "at"), 0)
		w, l := schedule.WeekOf(at, zone), schedule.LastWeek(at, zone)
		if at.Before(w.From) || !at.Before(w.To) || w.From.Weekday() != time.Monday || !l.To.Equal(w.From) || !w.Before().To.Equal(w.From) {
			rt.Fatalf("week %v, last %v", w, l)
		}
		m := schedule.MonthOf(at, zone)
		if at.Before(m.From) || !at.Before(m.To) || m.From.Day() != 1 || !schedule.LastMonth(at, zone).To.Equal(m.From) {
			rt.Fatalf("month %v", m)
		}
	})
}

func TestABadExpressionIsNamed(t *testing.T) {
	if _, err := schedule.Due(in(t, "UTC"), []schedule.Job{{ID: "weekly", Cron: "no", Worth: time.Hour}}, time.Unix(0, 0)); err == nil {
		t.Error("no error")
	}
}
