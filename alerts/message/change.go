package message

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Item is a test that set off an alert, with staff's notes on the athlete.
type Item struct {
	Alert      schemas.Alert
	Assessment schemas.Assessment
	Outcome    schemas.Outcome
	Notes      []schemas.Note
	// Beside is what stands beside the test; the zero value says nothing.
	Beside assess.Beside
	// Conditions are what was recorded of the day for the whole squad; shown
	// with what concerns all of it.
	Conditions []assess.Condition
}

// About is the message of an alert about one athlete's test, or about the whole
// squad.
func About(c *club.Club, it Item) string {
	if it.Alert.TestID == "" {
		return shared(&it)
	}
	if it.Alert.Rule == schemas.RuleTraceInvalid {
		return Trace(c, it.Outcome, reason(&it))
	}
	lines := append([]string{headline(c, it), occasion(c, &it.Outcome, dateTime)}, body(c, &it)...)
	return strings.Join(append(lines, next(it.Alert.Rule), Caution), "\n")
}

// Together is one message of the alerts of several athletes of one session;
// what holds for all is said once. One item makes the message of [About].
func Together(c *club.Club, items []Item) string {
	if len(items) == 0 {
		return ""
	}
	if len(items) == 1 {
		return About(c, items[0])
	}
	first := &items[0].Outcome
	athletes := map[string]bool{}
	for _, it := range items {
		athletes[it.Alert.Athlete] = true
	}
	lines := []string{
		fmt.Sprintf("%s: %s to look at", squadName(c, first.Squad), count(len(athletes), "athlete")),
		occasion(c, first, dateOnly),
	}
	var nexts []string
	for _, it := range items {
		lines = append(append(lines, "", headline(c, it)), body(c, &it)...)
		if n := next(it.Alert.Rule); !slices.Contains(nexts, n) {
			nexts = append(nexts, n)
		}
	}
	lines = append(append(lines, ""), nexts...)
	return strings.Join(append(lines, Caution), "\n")
}

// body has what stands between an alert's headline and what to look at next.
func body(c *club.Club, it *Item) []string {
	o := &it.Outcome
	var lines []string
	switch it.Alert.Rule {
	case schemas.RuleTraceInvalid:
		lines = append(lines, sentence(reason(it)))
		for _, r := range o.Reasons {
			lines = append(lines, "- "+sentence(said(c, r.Text)))
		}
	case schemas.RuleOutsideBand, schemas.RuleHRmaxExceeded:
		lines = append(lines, sentence(reason(it)), trace(o))
	default:
		lines = append(lines, together(&it.Assessment)...)
		lines = append(lines, numbers(c, &it.Assessment, o)...)
		lines = append(lines, drifts(c, &it.Assessment, o.Start)...)
		lines = append(lines, nonEmpty([]string{squadLine(&it.Assessment)})...)
		for _, f := range it.Assessment.Fired {
			if f.Rule == schemas.RuleOutsideBand || f.Rule == schemas.RuleHRmaxExceeded {
				lines = append(lines, sentence(f.Reason))
			}
		}
		lines = append(lines, compared(c, &it.Assessment, o.Start), trace(o))
		lines = append(lines, beside(c, it)...)
	}
	lines = append(lines, nonEmpty([]string{hrmaxNote(o)})...)
	return append(lines, notes(c, it)...)
}

// thresholdWords are what a reason says of thresholds: for the record, not for
// a phone.
var thresholdWords = regexp.MustCompile(` \(threshold [^)]*\)`)

// together says what tests running come to: each of them alone may well be
// within the usual spread, and the first has raised the baseline of the next.
func together(a *schemas.Assessment) []string {
	var lines []string
	for _, f := range a.Fired {
		if f.Rule == schemas.RuleHRexRunning || f.Rule == schemas.RuleHRRRunning {
			lines = append(lines, sentence("Against the baseline before them: "+thresholdWords.ReplaceAllString(f.Reason, "")))
		}
	}
	return lines
}

// reason is what the alert's own rule compared.
func reason(it *Item) string {
	for _, f := range it.Assessment.Fired {
		if f.Rule == it.Alert.Rule {
			return f.Reason
		}
	}
	return ""
}

// next says what to look at next.
func next(rule schemas.RuleID) string {
	switch rule {
	case schemas.RuleTraceInvalid:
		return strapNext
	case schemas.RuleOutsideBand:
		return "Look at next: is the speed right for this athlete, is HRmax up to date, pace and surface, the strap."
	case schemas.RuleHRmaxExceeded:
		return "Look at next: readings that jump are most often the strap; if the trace is clean, HRmax needs a new measurement."
	default:
		return lookNext
	}
}

// notes are what staff wrote of the athlete lately, the newest last.
func notes(c *club.Club, it *Item) []string {
	var lines []string
	for _, n := range it.Notes {
		if text := said(c, n.Text); text != "" {
			lines = append(lines, fmt.Sprintf("Note of %s by %s: %s", day(c, n.When, it.Outcome.Start), said(c, n.Who), ended(text)))
		}
	}
	return lines
}

// headline says who and what in one line.
func headline(c *club.Club, it Item) string {
	hrr := "HRR"
	if main := rules.MainHRR(&it.Assessment); main != nil {
		hrr = main.Name()
	}
	has := map[schemas.RuleID]bool{}
	for _, f := range it.Assessment.Fired {
		has[f.Rule] = true
	}
	both := func(one, other schemas.RuleID) bool { return has[one] && has[other] }
	var what string
	switch it.Alert.Rule {
	case schemas.RuleBoth:
		what = "HRex higher and " + hrr + " smaller than usual"
	case schemas.RuleHRexRisen:
		if what = "HRex higher than usual"; has[schemas.RuleHRRRunning] || has[schemas.RuleHRRDrift] {
			what = "HRex higher and " + hrr + " somewhat smaller than usual"
		}
	case schemas.RuleHRRWorsened:
		if what = hrr + " smaller than usual (slower recovery)"; has[schemas.RuleHRexRunning] || has[schemas.RuleHRexDrift] {
			what = hrr + " smaller and HRex somewhat higher than usual"
		}
	case schemas.RuleHRexRunning:
		what = fmt.Sprintf("HRex somewhat higher, %d tests running", c.Thresholds.Rules.HRexRunning.Tests)
		if both(schemas.RuleHRexRunning, schemas.RuleHRRRunning) {
			what = "HRex somewhat higher and " + hrr + " smaller, tests running"
		}
	case schemas.RuleHRRRunning:
		what = fmt.Sprintf("%s somewhat smaller (slower recovery), %d tests running", hrr, c.Thresholds.Rules.HRRRunning.Tests)
	case schemas.RuleHRexDrift:
		if what = "HRex drifting higher, little by little"; both(schemas.RuleHRexDrift, schemas.RuleHRRDrift) {
			what = "HRex drifting higher and " + hrr + " smaller, little by little"
		}
	case schemas.RuleHRRDrift:
		what = hrr + " drifting smaller (slower recovery), little by little"
	case schemas.RuleOutsideBand:
		what = "HRex at a new high above the intensity band"
	case schemas.RuleHRmaxExceeded:
		what = "heart rate above the HRmax on record"
	case schemas.RuleTraceInvalid:
		what = "heart-rate trace unusable again, check the strap"
	case schemas.RuleEasier:
		what = "HRex lower or " + hrr + " greater than usual"
	default:
		what = "test numbers"
	}
	s := who(c, it.Alert.Athlete) + ": " + what
	if it.Alert.Urgency == schemas.LookNow {
		s += " - look at this first"
	}
	return s
}

// drifts says since when numbers drift to the side that rules look at. A drift
// that a single test makes is that test, and its line has said so.
func drifts(c *club.Club, a *schemas.Assessment, at time.Time) []string {
	var lines []string
	for i := range a.Comparisons {
		m := &a.Comparisons[i]
		up := m.Measure == schemas.MeasureHRex && m.Drift.Side == schemas.DriftUp
		down := m.Measure == schemas.MeasureHRR && m.Drift.Side == schemas.DriftDown
		if (up || down) && at.Sub(m.Drift.Since) > driftWorthSaying {
			lines = append(lines, fmt.Sprintf("%s has been drifting %s since %s.", m.Name(), m.Drift.Side, day(c, m.Drift.Since, at)))
		}
	}
	return lines
}

// driftWorthSaying is more than two weekly tests.
const driftWorthSaying = 15 * 24 * time.Hour

// squadLine says what the session shared, and what is left without it.
func squadLine(a *schemas.Assessment) string {
	var parts, left []string
	moved := false
	n := 0
	for i := range a.Comparisons {
		m := &a.Comparisons[i]
		if !m.Squad.Size.Present() {
			continue
		}
		unit, decimals := unitOf(m)
		n = max(n, m.Squad.N)
		parts = append(parts, fmt.Sprintf("%s %s %s", m.Name(), signed(m.Squad.Size, decimals), unit))
		moved = moved || m.Squad.Material
		if change, z, without := judged(m); without {
			left = append(left, fmt.Sprintf("%s %s %s (z %s)", m.Name(), signed(change, decimals), unit, signed(z, 1)))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	usual := fmt.Sprintf("The squad was as usual that day (%s)", count(n, "athlete"))
	switch {
	case len(left) == 0:
		return usual + "."
	case moved:
		return fmt.Sprintf("Squad that day: %s (%s); without it: %s.", list(parts), count(n, "athlete"), list(left))
	default:
		return usual + ", but not on each day of the baseline; without that: " + list(left) + "."
	}
}

func unitOf(m *schemas.Comparison) (unit string, decimals int) {
	if m.Unit == assess.Points {
		return "points", 1
	}
	return "bpm", 0
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
	name := m.Name()
	if m.State == schemas.NoValue {
		return sentence(name + ": no number" + whyAbsent(c, m, o))
	}
	unit, decimals := unitOf(m)
	head := name + " " + value(m, o) + ": "
	if m.State == schemas.Building {
		head += fmt.Sprintf("building baseline (%d of %d)", m.N, m.MinN)
		if m.Previous.Present() {
			head += ", " + last(c, m, o, unit, decimals)
		}
		return sentence(head)
	}
	if m.State == schemas.Inside {
		inside := fmt.Sprintf("%s%s (%s %s from the mean of %s, z %s)", head, Unusual(m), signed(m.Change, decimals), unit, plain(m.Mean, decimals), signed(m.Z, 1))
		return ended(inside)
	}
	from := fmt.Sprintf("%s %s (%s %%) from the mean of %s", signed(m.Change, decimals), unit, signed(m.Pct, 0), plain(m.Mean, decimals))
	if m.Previous.Present() {
		from += ", " + last(c, m, o, unit, decimals)
	}
	how := fmt.Sprintf("z %s, %s to %s expected", signed(m.Z, 1), plain(m.PredLow, decimals), plain(m.PredHigh, decimals))
	if p := likely(m.ProbChange); p != "" {
		how += "; " + p
	}
	lines := []string{head + Unusual(m), sentence(from), sentence(how)}
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
	return plain(m.Value, 0) + " bpm"
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
	switch m.Basis {
	case schemas.BasisReturn:
		s = fmt.Sprintf("Compared with this athlete's %s since the return, from %s", count(m.N, "test"), day(c, m.From, at))
	case schemas.BasisReference:
		s = fmt.Sprintf("Compared with this athlete's %s of the reference block, from %s", count(m.N, "test"), day(c, m.From, at))
	case schemas.BasisRolling:
	}
	if hrr := rules.MainHRR(a); hrr != nil && hrr.N != m.N && hrr.State != schemas.NoValue {
		s += fmt.Sprintf(" (%s: %d)", hrr.Name(), hrr.N)
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
