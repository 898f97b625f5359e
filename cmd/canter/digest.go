package main

import (
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"strconv"
	"time"

	"canter.example/alerts/digest"
	"canter.example/alerts/schedule"
	"canter.example/schemas/club"
)

type digestCmd struct {
	Club   string `help:"Club file." type:"path" required:"" placeholder:"FILE" env:"CANTER_CLUB"`
	Squad  string `help:"Only this squad." placeholder:"ID"`
	Week   string `help:"A day in the week, or the week itself, such as 2026-W41 (default: the last whole week)." placeholder:"WEEK" xor:"period"`
	Month  string `help:"A month, such as 2026-10, in place of a week." placeholder:"MONTH" xor:"period"`
	Format string `help:"Form of the answer: ${enum}." enum:"text,json" default:"text"`
	places
}

// Help is shown below the options.
func (digestCmd) Help() string {
	return `Prints what chat is told of a squad's week: who was tested, who moved to either
side and how sure that is, open alerts and what became of those before, straps to
check. A month adds the squad's own typical error and the quality of its data.

As JSON a line for each squad, with the figures that the text is made of.

Examples:
  canter digest --club club.yaml
  canter digest --club club.yaml --squad first --week 2026-W41
  canter digest --club club.yaml --month 2026-10 --format json`
}

// Run prints digests.
func (c *digestCmd) Run(ctx context.Context, std streams) error {
	cl, err := club.Load(c.Club)
	if err != nil {
		return err
	}
	kind, p, err := c.period(cl.Zone, time.Now())
	if err != nil {
		return err
	}
	if c.Squad != "" && cl.Squad(c.Squad) == nil {
		return usagef("the club has no squad %q", c.Squad)
	}
	h, err := c.existingHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	printed := 0
	for i := range cl.Squads {
		squad := cl.Squads[i].ID
		if c.Squad != "" && c.Squad != squad {
			continue
		}
		d, err := digest.Read(ctx, h, cl, kind, squad, p)
		if err != nil {
			return err
		}
		if c.Format == "json" {
			err = json.NewEncoder(std.out).Encode(d)
		} else {
			if printed > 0 {
				_, _ = fmt.Fprintln(std.out)
			}
			_, err = fmt.Fprintln(std.out, d.Text(cl))
		}
		if err != nil {
			return err
		}
		printed++
	}
	return nil
}

var isoWeek = regexp.MustCompile(`^(\d{4})-?W(\d{1,2})$`)

// period reads which week or month is meant.
func (c *digestCmd) period(zone *time.Location, now time.Time) (digest.Kind, schedule.Period, error) {
	switch {
	case c.Month != "":
		t, err := time.ParseInLocation("2006-01", c.Month, zone)
		if err != nil {
			return "", schedule.Period{}, usagef("--month %q: want 2026-10", c.Month)
		}
		return digest.Month, schedule.MonthOf(t.AddDate(0, 0, 14), zone), nil
	case c.Week == "":
		return digest.Week, schedule.LastWeek(now, zone), nil
	}
	if m := isoWeek.FindStringSubmatch(c.Week); m != nil {
		y, _ := strconv.Atoi(m[1])
		w, _ := strconv.Atoi(m[2])
		// The week that holds 4 January is the first of its year (ISO 8601).
		t := time.Date(y, 1, 4+7*(w-1), 12, 0, 0, 0, zone)
		if iy, iw := t.ISOWeek(); iy != y || iw != w {
			return "", schedule.Period{}, usagef("--week %q: %d has no such week", c.Week, y)
		}
		return digest.Week, schedule.WeekOf(t, zone), nil
	}
	t, err := time.ParseInLocation(time.DateOnly, c.Week, zone)
	if err != nil {
		return "", schedule.Period{}, usagef("--week %q: want 2026-W41, or a day in it such as 2026-10-06", c.Week)
	}
	return digest.Week, schedule.WeekOf(t.Add(12*time.Hour), zone), nil
}
