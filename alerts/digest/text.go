package digest

import (
	"fmt"
	"strings"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/message"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// most is how many movers a side, and open alerts, are named: a phone's screen.
const most = 6

// Text is the digest for a phone, the first line a headline.
func (d *Digest) Text(c *club.Club) string {
	lines := []string{fmt.Sprintf("%s, %s %s", message.Squad(c, d.Squad), d.Kind, d.period.Name())}
	lines = append(lines, d.tested(c)...)
	for _, s := range d.Shifts {
		lines = append(lines, fmt.Sprintf("Whole squad on %s: %s, taken off below.", short(s.Date), message.Shift(&s.Comparison)))
	}
	lines = append(lines, movers(c, "HRex higher or recovery slower", d.Harder)...)
	lines = append(lines, movers(c, "HRex lower or recovery faster", d.Easier)...)
	if len(d.Easier) > 0 {
		lines = append(lines, message.Ambiguous())
	}
	switch {
	case d.Usable == 0 || len(d.Harder)+len(d.Easier) > 0:
	case d.Building >= d.Usable:
		lines = append(lines, "Baselines are still building: no verdict yet.")
	default:
		lines = append(lines, "Nobody's numbers moved beyond what is usual for them. That says nothing of how anybody feels.")
	}
	lines = append(lines, d.open()...)
	lines = append(lines, d.became()...)
	lines = append(lines, d.straps(c)...)
	lines = append(lines, d.qualities(c)...)
	return strings.Join(append(lines, "", message.Caution), "\n")
}

func (d *Digest) tested(c *club.Club) []string {
	if d.Tested == 0 {
		return []string{"No test."}
	}
	text := fmt.Sprintf("Tested: %d of %d in %s, %d with a usable trace, coverage %.0f %%.", d.Tested, max(d.Expected, d.Tested), schemas.Count(d.Sessions, "session"), d.Usable, 100*d.Coverage.Or(0))
	if len(d.Untested) == 0 {
		return []string{text}
	}
	names := make([]string, len(d.Untested))
	for i, id := range d.Untested {
		names[i] = message.Who(c, id)
	}
	return []string{text, "Not tested: " + cut(names) + "."}
}

func movers(c *club.Club, title string, list []Mover) []string {
	if len(list) == 0 {
		return nil
	}
	lines := []string{"", title}
	for i := range list {
		if i == most {
			lines = append(lines, fmt.Sprintf("- and %d more", len(list)-i))
			break
		}
		var parts []string
		for j := range list[i].Moved {
			parts = append(parts, message.Moved(&list[i].Moved[j]))
		}
		lines = append(lines, fmt.Sprintf("- %s: %s.", message.Who(c, list[i].Athlete), strings.Join(parts, "; ")))
	}
	return lines
}

func (d *Digest) open() []string {
	if len(d.Open) == 0 {
		return nil
	}
	lines := []string{"", "Open alerts"}
	groups := d.again()
	for i, g := range groups {
		if i == most {
			lines = append(lines, fmt.Sprintf("- and %d more", len(groups)-i))
			break
		}
		when := "since " + d.dayOf(g[0].Alert.About)
		var days []string
		seen := true
		for k := range g {
			seen = seen && g[k].Alert.State == schemas.AlertSeen
			if k > 0 {
				days = append(days, d.dayOf(g[k].Alert.About))
			}
		}
		if len(days) > 0 {
			when += ", again " + strings.Join(days, ", ")
		}
		if seen {
			when += ", seen"
		}
		lines = append(lines, fmt.Sprintf("- %s (%s)", g[len(g)-1].Headline, when))
	}
	return lines
}

// again puts together what a rule said of one athlete more than once, as it
// stands in the latest; in the order of the first.
func (d *Digest) again() [][]Open {
	var groups [][]Open
	at := map[string]int{}
	for _, o := range d.Open {
		key := o.Alert.Athlete + "\x00" + string(o.Alert.Rule)
		i, known := at[key]
		if !known || o.Alert.Athlete == "" {
			at[key] = len(groups)
			groups = append(groups, []Open{o})
			continue
		}
		groups[i] = append(groups[i], o)
	}
	return groups
}

func (d *Digest) dayOf(t time.Time) string { return t.In(d.period.From.Location()).Format("2 Jan") }

func (d *Digest) became() []string {
	total := 0
	var parts []string
	for _, s := range []struct {
		state schemas.AlertState
		words string
	}{
		{schemas.AlertClosed, "back inside"}, {schemas.AlertWithdrawn, "withdrawn"}, {schemas.AlertLapsed, "lapsed without a test to tell"},
		{schemas.AlertSeen, "seen and still open"}, {schemas.AlertOpen, "still open"},
	} {
		if n := d.Became[s.state]; n > 0 {
			total += n
			parts = append(parts, fmt.Sprintf("%d %s", n, s.words))
		}
	}
	if total == 0 {
		return nil
	}
	whose := fmt.Sprintf("Of the %d alerts of the %s before", total, d.Kind)
	if total == 1 {
		whose = fmt.Sprintf("The one alert of the %s before", d.Kind)
		parts[0] = strings.TrimPrefix(parts[0], "1 ")
	}
	return []string{"", whose + ": " + strings.Join(parts, ", ") + "."}
}

func (d *Digest) straps(c *club.Club) []string {
	var names []string
	for _, s := range d.Straps {
		names = append(names, fmt.Sprintf("%s (%d of %s unusable)", message.Who(c, s.Athlete), s.Traces, schemas.Count(s.Of, "trace")))
	}
	if len(names) == 0 {
		return nil
	}
	return []string{"", "Straps to check: " + cut(names) + "."}
}

func (d *Digest) qualities(c *club.Club) []string {
	q := d.Quality
	if q == nil || q.Good+q.Check+q.Reject == 0 {
		return nil
	}
	all := q.Good + q.Check + q.Reject
	lines := []string{"", "Data quality",
		fmt.Sprintf("%s: %d good, %d doubtful, %d unusable; staff accepted %d and left out %d.", schemas.Count(all, "test"), q.Good, q.Check, q.Reject, q.Accepted, q.Excluded)}
	var why []string
	for i, r := range q.Reasons {
		if i < 3 {
			why = append(why, fmt.Sprintf("%s (%d)", strings.ReplaceAll(string(r.Code), "-", " "), r.Tests))
		}
	}
	if len(why) > 0 {
		lines = append(lines, "Most often: "+strings.Join(why, ", ")+".")
	}
	for _, s := range q.Spreads {
		name, unit, set := s.Measure.Name(s.Seconds), "points of %HRmax", c.Thresholds.HRexTE
		if s.Measure == schemas.MeasureHRR {
			set = c.Thresholds.HRRTE
		}
		if s.Unit != assess.Points {
			unit = "bpm"
		}
		if s.Athletes < 5 || s.Measure == schemas.MeasureHRex && s.Unit != assess.Points && len(q.Spreads) > 1 {
			continue
		}
		lines = append(lines, fmt.Sprintf("Own typical error of %s: %.1f %s (%s, day-to-day change included); the club file has %.1f.", name, s.SD, unit, schemas.Count(s.Athletes, "athlete"), set))
	}
	return lines
}

// cut joins names, the first dozen.
func cut(names []string) string {
	const dozen = 12
	if len(names) > dozen {
		return strings.Join(names[:dozen], ", ") + fmt.Sprintf(" and %d more", len(names)-dozen)
	}
	return strings.Join(names, ", ")
}

func short(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return t.Format("Mon 2 Jan")
}

func firstLine(text string) string {
	l, _, _ := strings.Cut(text, "\n")
	return l
}
