package report

import (
	"context"
	"fmt"
	"strings"
	"time"

	"canter.example/alerts/message"
	"canter.example/schemas"
)

// Beside is what stands beside a test: the load of the days before it and the
// daily series of its day and the day before. No verdict is drawn from it.
type Beside struct {
	// Date of the test in the club's time zone.
	Date  string                `json:"date"`
	Loads []schemas.LoadSum     `json:"load_before"`
	Daily []schemas.SeriesValue `json:"daily_series"`
}

// loadDays are the days before a test whose load is shown: three, to whose
// TRIMP Scott et al. 2022 (J Sports Sci 40(8); FACTS 2.9) tie HRex, and the
// week.
var loadDays = [...]int{3, 7}

// BesideHistory is what [ReadBeside] reads.
type BesideHistory interface {
	AthleteLoads(ctx context.Context, athlete string, from, to time.Time) ([]schemas.TraceLoad, error)
	AthleteSeries(ctx context.Context, athlete, squad, from, to string) ([]schemas.SeriesValue, error)
}

// ReadBeside gathers what stands beside a test.
func ReadBeside(ctx context.Context, h BesideHistory, o *schemas.Outcome) (Beside, error) {
	// The session's id ends with its local date; see [schemas.SessionID].
	c := Beside{Date: schemas.SessionDate(o.Session)}
	day, err := time.Parse(time.DateOnly, c.Date)
	if err != nil {
		return c, nil
	}
	// A local date begins at most 14 h before or after that of UTC.
	from, to := day.AddDate(0, 0, -loadDays[len(loadDays)-1]-1), day.AddDate(0, 0, 2)
	loads, err := h.AthleteLoads(ctx, o.Athlete, from, to)
	if err != nil {
		return c, err
	}
	for _, days := range loadDays {
		c.Loads = append(c.Loads, schemas.LoadBefore(loads, c.Date, days))
	}
	c.Daily, err = h.AthleteSeries(ctx, o.Athlete, o.Squad, day.AddDate(0, 0, -1).Format(time.DateOnly), day.AddDate(0, 0, 1).Format(time.DateOnly))
	return c, err
}

// ReadBeside reads what stands beside each test of the session, with two
// queries a test. Errors are the history's.
func (d *Data) ReadBeside(ctx context.Context, h BesideHistory) error {
	for i := range d.Tests {
		b, err := ReadBeside(ctx, h, &d.Tests[i].Outcome)
		if err != nil {
			return err
		}
		d.Tests[i].Beside = &b
	}
	return nil
}

// Lines are what stands beside the test in words; none when there is nothing.
func (c *Beside) Lines() []string {
	var lines []string
	for _, l := range c.Loads {
		if l.Sessions == 0 {
			lines = append(lines, fmt.Sprintf("nothing recorded in the %d days before", l.Days))
			continue
		}
		lines = append(lines, fmt.Sprintf("%d days before: TRIMP %s, Edwards %s, %s min of heart rate in %s, coverage %.0f %%",
			l.Days, l.TRIMP.Text(0), l.Edwards.Text(0), l.Minutes.Text(0), schemas.Count(l.Sessions, "session"), 100*l.Coverage.Or(0)))
	}
	for i := 0; i < len(c.Daily); {
		date := c.Daily[i].Date
		var texts []string
		for ; i < len(c.Daily) && c.Daily[i].Date == date; i++ {
			texts = append(texts, dailyText(&c.Daily[i]))
		}
		lines = append(lines, date+": "+strings.Join(texts, ", "))
	}
	return lines
}

// dailyText is one value in words: "sleep 7.5 h", "wellness 15 (4-20)".
func dailyText(v *schemas.SeriesValue) string {
	text := message.SeriesWords(v.Series) + " " + message.ValueWords(v)
	switch {
	case v.Athlete == "" && v.Squad == "":
		text += " (whole club)"
	case v.Athlete == "":
		text += " (whole squad)"
	}
	return text
}
