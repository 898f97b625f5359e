package message

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"canter.example/alerts/assess"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// beside is what stands beside a test, as lines.
func beside(c *club.Club, it *Item) []string {
	var lines []string
	if words := loadBefore(&it.Beside); words != "" {
		lines = append(lines, words)
	}
	if words := standingWords(c, &it.Beside, it.Outcome.Start); words != "" {
		lines = append(lines, words)
	}
	return lines
}

// loadBefore says in one line what was recorded in the days before a test, ""
// when that was not looked at.
func loadBefore(b *assess.Beside) string {
	if len(b.Loads) == 0 {
		return ""
	}
	parts := make([]string, 0, len(b.Loads))
	for i := range b.Loads {
		parts = append(parts, fmt.Sprintf("%d days %s", b.Loads[i].Days, loadWords(&b.Loads[i])))
	}
	s := "Load before (TRIMP): " + list(parts)
	if b.UsualTRIMP.Present() {
		s += fmt.Sprintf("; a usual week %s", b.UsualTRIMP.Text(0))
	}
	return s + "."
}

func loadWords(l *schemas.LoadSum) string {
	switch {
	case l.Sessions == 0:
		return "nothing recorded"
	case !l.TRIMP.Present():
		return fmt.Sprintf("not known (%s of heart rate)", count(int(l.Minutes.Or(0)+0.5), "minute"))
	case l.Coverage.Or(1) < 0.8:
		return fmt.Sprintf("%s in %s, %.0f %% covered", l.TRIMP.Text(0), count(l.Sessions, "session"), 100*l.Coverage.Or(0))
	default:
		return fmt.Sprintf("%s in %s", l.TRIMP.Text(0), count(l.Sessions, "session"))
	}
}

// conditions are a day's recorded values for the whole squad, each by itself:
// "temperature 31 °C".
func conditions(cs []assess.Condition) []string {
	var out []string
	for i := range cs {
		out = append(out, SeriesWords(cs[i].Series)+" "+ValueWords(&cs[i].SeriesValue))
	}
	return out
}

// conditionWords says in one line what was recorded of the day for the whole
// squad, beside what was usual before, "" when nothing was.
func conditionWords(cs []assess.Condition) string {
	parts := conditions(cs)
	if len(parts) == 0 {
		return ""
	}
	for i := range cs {
		if cs[i].Usual.Present() {
			parts[i] += fmt.Sprintf(" (mean of the %s before: %s)", count(cs[i].N, "day"), cs[i].Usual.Text(0))
		}
	}
	return "Recorded that day: " + strings.Join(parts, "; ") + "."
}

// standingWords says which daily values stand out, "" when none does. It says
// how they differ from the usual and nothing of what that means.
func standingWords(c *club.Club, b *assess.Beside, at time.Time) string {
	if len(b.Standing) == 0 {
		return ""
	}
	parts := make([]string, 0, len(b.Standing))
	for i := range b.Standing {
		v := &b.Standing[i]
		side := "above"
		if v.Z < 0 {
			side = "below"
		}
		whose := "the usual"
		if v.Athlete == "" {
			whose = "the squad's usual"
		}
		when := ""
		if v.Date != at.In(zone(c)).Format(time.DateOnly) {
			when = " the day before"
		}
		parts = append(parts, fmt.Sprintf("%s %s%s, %s %s %s", SeriesWords(v.Series), ValueWords(&v.SeriesValue), when, side, whose, strconv.FormatFloat(v.Mean, 'f', decimalsOf(v.SD), 64)))
	}
	return "Stands out: " + strings.Join(parts, "; ") + "."
}

// decimalsOf are as many as a spread makes worth reading.
func decimalsOf(sd float64) int {
	switch {
	case sd >= 10:
		return 0
	case sd >= 0.1:
		return 1
	default:
		return 2
	}
}

// SeriesWords is a series' name as people write it: files' headings are folded.
func SeriesWords(series string) string {
	switch series = line(series); series {
	case "rpe":
		return "RPE"
	case schemas.SessionRPE:
		return "session RPE"
	}
	return series
}

// ValueWords is a daily value with its unit: "7.5 h", "15 (4-20)".
func ValueWords(v *schemas.SeriesValue) string {
	text := strconv.FormatFloat(v.Value, 'f', -1, 64)
	switch unit := line(v.Unit); {
	case unit == "":
		return text
	case unit[0] >= '0' && unit[0] <= '9': // the range of a scale
		return text + " (" + unit + ")"
	default:
		return text + " " + unit
	}
}
