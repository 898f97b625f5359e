package schedule

import (
	"fmt"
	"slices"
	"time"

	"canter.example/schemas/club"
)

// Job is something done at regular times.
type Job struct {
	ID string
	// Cron has five fields; "" for a job that is off.
	Cron string
	// Worth is how long after its time a run is still worth doing.
	Worth time.Duration
}

// Run is one time of a job.
type Run struct {
	Job Job
	// At is when it was due.
	At time.Time
	// Key is the run's local date and time: with the job's id, its name for good.
	Key string
}

// Due returns the run that each job owes at an instant, the latest whose time
// has come and that is still worth doing, by the time they were due. Whether it
// has been done is the caller's to know. The error names a job whose expression
// can't be read.
func Due(c *club.Club, jobs []Job, now time.Time) ([]Run, error) {
	var out []Run
	for _, j := range jobs {
		if j.Cron == "" || j.Worth <= 0 {
			continue
		}
		times, err := c.Times(j.Cron, now.Add(-j.Worth), now.Add(1))
		if err != nil {
			return nil, fmt.Errorf("job %s: %w", j.ID, err)
		}
		if n := len(times); n > 0 {
			at := times[n-1]
			out = append(out, Run{Job: j, At: at, Key: at.Format("2006-01-02T15:04")})
		}
	}
	slices.SortStableFunc(out, func(a, b Run) int { return a.At.Compare(b.At) })
	return out, nil
}

// Period is a span of whole local days, half-open.
type Period struct{ From, To time.Time }

// LastWeek returns the last whole week, Monday to Sunday, before an instant.
func LastWeek(at time.Time, zone *time.Location) Period {
	y, m, d := at.In(zone).Date()
	monday := d - (int(at.In(zone).Weekday())+6)%7
	return Period{club.StartOfDay(y, m, monday-7, zone), club.StartOfDay(y, m, monday, zone)}
}

// WeekOf returns the week, Monday to Sunday, that holds an instant.
func WeekOf(at time.Time, zone *time.Location) Period {
	y, m, d := at.In(zone).Date()
	monday := d - (int(at.In(zone).Weekday())+6)%7
	return Period{club.StartOfDay(y, m, monday, zone), club.StartOfDay(y, m, monday+7, zone)}
}

// LastMonth returns the last whole calendar month before an instant.
func LastMonth(at time.Time, zone *time.Location) Period {
	y, m, _ := at.In(zone).Date()
	return Period{club.StartOfDay(y, m-1, 1, zone), club.StartOfDay(y, m, 1, zone)}
}

// MonthOf returns the calendar month that holds an instant.
func MonthOf(at time.Time, zone *time.Location) Period {
	y, m, _ := at.In(zone).Date()
	return Period{club.StartOfDay(y, m, 1, zone), club.StartOfDay(y, m+1, 1, zone)}
}

// Before returns the period of as many days that ends where p begins.
func (p Period) Before() Period {
	days := int(p.To.Sub(p.From).Round(24*time.Hour) / (24 * time.Hour))
	return Period{p.From.AddDate(0, 0, -days), p.From}
}

// Name is the period in words, without the year where both ends have it.
func (p Period) Name() string {
	last := p.To.Add(-time.Hour).In(p.From.Location())
	if p.From.Month() == last.Month() && p.From.Year() == last.Year() {
		return p.From.Format("2") + " to " + last.Format("2 Jan 2006")
	}
	return p.From.Format("2 Jan") + " to " + last.Format("2 Jan 2006")
}
