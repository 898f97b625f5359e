package message

import (
	"fmt"
	"strings"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Item is a test that set off an alert.
type Item struct {
	Alert      schemas.Alert
	Assessment schemas.Assessment
	Outcome    schemas.Outcome
}

// Change is the message of an alert about a test's numbers.
func Change(c *club.Club, al schemas.Alert, a schemas.Assessment, o schemas.Outcome) string {
	lines := []string{headline(c, Item{al, a, o}), occasion(c, &o, dateTime)}
	lines = append(lines, numbers(c, &a, &o)...)
	lines = append(lines, compared(c, &a, o.Start), trace(&o))
	if s := hrmaxNote(&o); s != "" {
		lines = append(lines, s)
	}
	return strings.Join(append(lines, lookNext, Caution), "\n")
}

// Changes is one message of the alerts of several athletes of one session;
// what holds for all is said once. One item makes the message of [Change].
func Changes(c *club.Club, items []Item) string {
	if len(items) == 0 {
		return ""
	}
	if len(items) == 1 {
		return Change(c, items[0].Alert, items[0].Assessment, items[0].Outcome)
	}
	first := &items[0].Outcome
	lines := []string{
		fmt.Sprintf("%s: %s with numbers beyond usual", squadName(c, first.Squad), count(len(items), "athlete")),
		occasion(c, first, dateOnly),
	}
	for _, it := range items {
		lines = append(lines, "", headline(c, it))
		lines = append(lines, numbers(c, &it.Assessment, &it.Outcome)...)
		lines = append(lines, compared(c, &it.Assessment, it.Outcome.Start), trace(&it.Outcome))
		if s := hrmaxNote(&it.Outcome); s != "" {
			lines = append(lines, s)
		}
	}
	return strings.Join(append(lines, "", lookNext, Caution), "\n")
}

// headline says who and what in one line.
func headline(c *club.Club, it Item) string {
	hrr := "HRR"
	if main := rules.MainHRR(&it.Assessment); main != nil {
		hrr = nameOf(main)
	}
	var what string
	switch it.Alert.Rule {
	case schemas.RuleBoth:
		what = "HRex higher and " + hrr + " smaller than usual"
	case schemas.RuleHRexRisen:
		what = "HRex higher than usual"
	case schemas.RuleHRRWorsened:
		what = hrr + " smaller than usual (slower recovery)"
	default:
		what = "test numbers"
	}
	s := who(c, it.Alert.Athlete) + ": " + what
	if it.Alert.Urgency == schemas.LookNow {
		s += " - look at this first"
	}
	return s
}

// numbers has a few lines for each measure, the verdict first.
func numbers(c *club.Club, a *schemas.Assessment, o *schemas.Outcome) []string {
	var lines []string
	for i := range a.Comparisons {
		lines = append(lines, number(c, &a.Comparisons[i], o))
	}
	return lines
}

// number says where a measure stands, against the baseline and the last test.
func number(c *club.Club, m *schemas.Comparison, o *schemas.Outcome) string {
	name := nameOf(m)
	if m.State == schemas.NoValue {
		return sentence(name + ": no number" + whyAbsent(c, m, o))
	}
	unit, decimals := "bpm", 0
	if m.Unit == assess.Points {
		unit, decimals = "points", 1
	}
	head := name + " " + value(m, o) + ": "
	if m.State == schemas.Building {
		head += fmt.Sprintf("building baseline (%d of %d)", m.N, m.MinN)
		if m.Previous.Present() {
			head += ", " + last(c, m, o, unit, decimals)
		}
		return sentence(head)
	}
	from := fmt.Sprintf("%s %s (%s %%) from the mean of %s", signed(m.Change, decimals), unit, signed(m.Pct, 0), m.Mean.Text(decimals))
	if m.Previous.Present() {
		from += ", " + last(c, m, o, unit, decimals)
	}
	how := fmt.Sprintf("z %s, %s to %s expected", signed(m.Z, 1), m.PredLow.Text(decimals), m.PredHigh.Text(decimals))
	if p := likely(m.ProbChange); p != "" && m.State != schemas.Inside {
		how += "; " + p
	}
	lines := []string{head + spread(m.Z), sentence(from), sentence(how)}
	if note := Direction(m); note != "" {
		lines = append(lines, sentence(note))
	}
	return strings.Join(lines, "\n")
}

// Direction says what a number's movement may not be taken for: a lower HRex
// and a faster recovery are ambiguous (FACTS 3.5). It is empty for the other
// directions, which speak through the rules.
func Direction(m *schemas.Comparison) string {
	lowerHRex := m.Measure == schemas.MeasureHRex && m.State == schemas.Lower
	fasterHRR := m.Measure == schemas.MeasureHRR && m.State == schemas.Higher
	if lowerHRex || fasterHRR {
		return ambiguous
	}
	return ""
}

// value writes the measured number with its unit.
func value(m *schemas.Comparison, o *schemas.Outcome) string {
	if m.Unit == assess.Points {
		label := "%HRmax"
		if o.HRmax.Source == schemas.HRmaxEstimated {
			label = "% of estimated HRmax"
		}
		return fmt.Sprintf("%s %s (%s bpm)", m.Value.Text(1), label, o.HRexBPM.Text(0))
	}
	return m.Value.Text(0) + " bpm"
}

// last is the change from the previous test and when that was.
func last(c *club.Club, m *schemas.Comparison, o *schemas.Outcome, unit string, decimals int) string {
	return fmt.Sprintf("%s %s from the last test (%s)", signed(m.PrevChange, decimals), unit, day(c, m.PreviousTime, o.Start))
}

// whyAbsent gives the scorer's reason for a missing recovery.
func whyAbsent(c *club.Club, m *schemas.Comparison, o *schemas.Outcome) string {
	if m.Measure != schemas.MeasureHRR {
		return ""
	}
	for _, r := range o.Reasons {
		if r.Code == schemas.ReasonNoRecovery || r.Code == schemas.ReasonRecoveryBroken {
			return " (" + strings.TrimSuffix(said(c, r.Text), ".") + ")"
		}
	}
	return ""
}

// compared says what the baseline is made of.
func compared(c *club.Club, a *schemas.Assessment, at time.Time) string {
	m := a.Comparison(schemas.MeasureHRex, 0)
	if m == nil || m.N == 0 {
		m = rules.MainHRR(a)
	}
	if m == nil || m.N == 0 {
		return "No earlier test to compare with."
	}
	s := fmt.Sprintf("Compared with this athlete's last %s, since %s", count(m.N, "test"), day(c, m.From, at))
	if hrr := rules.MainHRR(a); hrr != nil && hrr.N != m.N && hrr.State != schemas.NoValue {
		s += fmt.Sprintf(" (%s: %d)", nameOf(hrr), hrr.N)
	}
	return s + "."
}

// trace says how far the numbers can be trusted.
func trace(o *schemas.Outcome) string {
	s := fmt.Sprintf("Trace %s, %.0f %% of the HRex window covered; start by %s", o.Quality, 100*o.Coverage, startWords(o.StartSource))
	if o.Quality == schemas.Check && o.Staff == schemas.Accepted {
		s += "; accepted by staff"
	}
	return s + "."
}

func startWords(s schemas.StartSource) string {
	switch s {
	case schemas.StartByHand:
		return "hand"
	case schemas.StartByTrace:
		return "search on the trace"
	case schemas.StartByLap, schemas.StartByPlan, schemas.StartBySession:
		return string(s)
	default:
		return "unknown means"
	}
}

// hrmaxNote labels an estimated HRmax and owns up to an unknown one.
func hrmaxNote(o *schemas.Outcome) string {
	switch {
	case o.HRmax.Source == schemas.HRmaxEstimated && o.HRmax.SEE.Present():
		return fmt.Sprintf("HRmax %s bpm is estimated from age (standard error %s bpm): trust the change more than the level.",
			o.HRmax.BPM.Text(0), o.HRmax.SEE.Text(0))
	case o.HRmax.Source == schemas.HRmaxEstimated:
		return fmt.Sprintf("HRmax %s bpm is estimated from age: trust the change more than the level.", o.HRmax.BPM.Text(0))
	case !o.HRmax.BPM.Present():
		return "HRmax is not known, so HRex is in bpm."
	default:
		return ""
	}
}
