package message

import (
	"fmt"
	"strings"

	"canter.example/alerts/assess"
	"canter.example/alerts/review"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// shared is the message of an alert about a whole squad as it is told: the
// alert's own text, and below the occasion what was recorded of the day. That
// may have come after the alert, so it is no part of its text.
func shared(it *Item) string {
	head, rest, _ := strings.Cut(it.Alert.Text, "\n")
	occasion, rest, _ := strings.Cut(rest, "\n")
	return strings.Join(nonEmpty([]string{head, occasion, conditionWords(it.Conditions), rest}), "\n")
}

// Session is the one message of a session in which the whole squad moved.
func Session(c *club.Club, al review.Alert, s *review.Session) string {
	var what, lines []string
	for i := range s.Effects {
		e := &s.Effects[i]
		if e.State != assess.Estimated {
			continue
		}
		m := schemas.Comparison{Measure: e.Measure, Seconds: e.Seconds, Unit: e.Unit}
		unit, decimals := unitOf(&m)
		if _, moved := e.Shifts[s.ID]; !moved {
			lines = append(lines, fmt.Sprintf("%s %s %s: nothing out of the ordinary.", m.Name(), signed(e.Size, decimals), unit))
			continue
		}
		side := "higher"
		switch up := e.Size.Or(0) > 0; {
		case e.Measure == schemas.MeasureHRR && up:
			side = "greater"
		case e.Measure == schemas.MeasureHRR:
			side = "smaller"
		case !up:
			side = "lower"
		}
		what = append(what, m.Name()+" "+side)
		lines = append(lines, fmt.Sprintf("%s %s %s from the squad's usual session: the middle of %s, %s to %s with %.0f %% confidence.",
			m.Name(), signed(e.Size, decimals), unit, count(e.Athletes, "athlete"), signed(e.Low, decimals), signed(e.High, decimals), 100*e.Level))
	}
	o := &s.Tests[0].Outcome
	head := []string{
		fmt.Sprintf("%s: %s for the whole session", squadName(c, al.Squad), strings.Join(what, " and ")),
		occasion(c, o, dateOnly),
	}
	return strings.Join(append(append(head, lines...),
		"Each athlete is judged with this taken off. Who stands out even so is told apart.",
		sharedNext, Caution), "\n")
}
