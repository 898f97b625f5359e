package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"canter.example/alerts/assess"
	"canter.example/alerts/chart"
	"canter.example/alerts/message"
	"canter.example/schemas"
)

const dash = "–"

// day is the session's day, by its first test.
func (d *Data) day() string {
	if len(d.Tests) == 0 {
		return d.Session
	}
	return d.Tests[0].Outcome.Start.In(d.zone()).Format("Mon 2 Jan 2006")
}

func (d *Data) hrrSeconds() int {
	if d.Protocol != nil && len(d.Protocol.Recovery) > 0 {
		return int(d.Protocol.Recovery[0] / time.Second)
	}
	for i := range d.Tests {
		if r := d.Tests[i].Outcome.Recovery; len(r) > 0 {
			return r[0].Seconds
		}
	}
	return 0
}

func (d *Data) hrrName() string {
	if s := d.hrrSeconds(); s > 0 {
		return schemas.MeasureHRR.Name(s)
	}
	return ""
}

func (d *Data) row(i int) row {
	t := &d.Tests[i]
	o := &t.Outcome
	r := row{Anchor: anchor(i), Name: t.Who.Name, Trace: TraceWords(o), Staff: StaffWord(o)}
	r.HRex = CellsOf(t.comparison(schemas.MeasureHRex, 0))
	r.HRex.Value = HRexValue(o)
	if s := d.hrrSeconds(); s > 0 {
		r.HRR = CellsOf(t.comparison(schemas.MeasureHRR, s))
		r.HRR.Value = dash
		if v, ok := o.HRR(s); ok {
			r.HRR.Value = v.BPM.Text(0)
		}
	}
	return r
}

// TraceWords say what a trace is worth and, when not all, why.
func TraceWords(o *schemas.Outcome) string {
	s := map[schemas.Quality]string{schemas.Good: "good", schemas.Check: "doubtful", schemas.Reject: "unusable"}[o.Quality]
	if why := chart.BriefReason(o); why != "" && o.Quality != schemas.Good {
		s += ": " + why
	}
	if o.Coverage < 0.995 && o.HRexBPM.Present() {
		s += fmt.Sprintf(", %.0f %% covered", 100*o.Coverage)
	}
	return s
}

// HRexValue is a test's HRex as %HRmax and bpm; * marks an estimated HRmax.
func HRexValue(o *schemas.Outcome) string {
	switch {
	case o.HRexPct.Present() && o.HRmax.Source == schemas.HRmaxEstimated:
		return fmt.Sprintf("%s* (%s)", o.HRexPct.Text(1), o.HRexBPM.Text(0))
	case o.HRexPct.Present():
		return fmt.Sprintf("%s (%s)", o.HRexPct.Text(1), o.HRexBPM.Text(0))
	case o.HRexBPM.Present():
		return fmt.Sprintf("(%s)", o.HRexBPM.Text(0))
	default:
		return dash
	}
}

// CellsOf are the comparisons of one measure.
func CellsOf(c *schemas.Comparison) Cells {
	if c == nil {
		return Cells{Last: dash, Baseline: dash, Z: dash, Words: "not compared", Brief: "not compared"}
	}
	words, apart := message.Unusual(c), message.Apart(c)
	brief := words
	if apart != "" {
		brief += apartMark
	}
	return Cells{
		Last: Signed(c.PrevChange, Decimals(c)), Baseline: Signed(c.Change, Decimals(c)), Z: Signed(c.Z, 1),
		Words: words + apart, Brief: brief, Beyond: c.State == schemas.Higher || c.State == schemas.Lower,
	}
}

// apartMark stands in a table for [message.Apart].
const apartMark = "†"

// ApartNote says below a table what a † in Brief stands for; "" where there is none.
func (c Cells) ApartNote() string {
	if c.Brief == c.Words {
		return ""
	}
	return apartMark + " with the squad's changes taken off: the whole squad moved that day or on days of the baseline, and the words leave that out. The numbers beside them do not."
}

// Decimals are those that a comparison's unit is worth.
func Decimals(c *schemas.Comparison) int {
	if c.Unit == assess.Points {
		return 1
	}
	return 0
}

// StaffWord is what staff said of a test, in a word or two; "" for nothing.
func StaffWord(o *schemas.Outcome) string {
	switch o.Staff {
	case schemas.Accepted:
		return "accepted"
	case schemas.Excluded:
		return "left out"
	case schemas.NoVerdict:
	}
	return ""
}

// notes say below the table what its marks stand for.
func (v *view) notes(d *Data) []string {
	notes := []string{
		"Changes of HRex are in points of %HRmax (bpm where HRmax is unknown), of " + strings.TrimSpace(d.hrrName()+" in bpm.") +
			" Bold: beyond the club's thresholds. A lower HRex or a faster recovery is not good or bad by itself (overload does this too).",
	}
	estimated := slices.ContainsFunc(d.Tests, func(t Test) bool { return t.Outcome.HRmax.Source == schemas.HRmaxEstimated })
	apart := ""
	for i := range v.Rows {
		apart = cmp.Or(apart, v.Rows[i].HRex.ApartNote(), v.Rows[i].HRR.ApartNote())
	}
	if estimated {
		notes = append(notes, "* of an HRmax estimated from age: trust the change more than the level.")
	}
	if apart != "" {
		notes = append(notes, apart)
	}
	return notes
}

// sentences say an athlete's result and how it stands.
func (t *Test) sentences(d *Data) []string {
	o := &t.Outcome
	out := []string{fmt.Sprintf("%s, start %s: %s, %.0f %% of the HRex window covered.", o.Start.In(d.zone()).Format("15:04:05"), StartWords(o.StartSource), chart.QualityWords(o), 100*o.Coverage)}
	if t.Assessment == nil {
		return out
	}
	for i := range t.Assessment.Comparisons {
		c := &t.Assessment.Comparisons[i]
		out = append(out, t.measure(d, c))
		if note := message.Direction(c); note != "" {
			out = append(out, Sentence(note))
		}
	}
	return out
}

// StartWords says how a start was found.
func StartWords(s schemas.StartSource) string {
	switch s {
	case schemas.StartByTrace:
		return "found on the trace"
	case schemas.StartByHand:
		return "set by hand"
	case "":
		return "not known"
	case schemas.StartByLap, schemas.StartByPlan, schemas.StartBySession:
	}
	return "by " + string(s)
}

// measure is one measure in a sentence or two.
func (t *Test) measure(d *Data, c *schemas.Comparison) string {
	name, unit := c.Name(), "bpm"
	value := c.Value.Text(0) + " bpm"
	if c.Unit == assess.Points {
		unit, value = "points", fmt.Sprintf("%s %%HRmax (%s bpm)", c.Value.Text(1), t.Outcome.HRexBPM.Text(0))
		if t.Outcome.HRmax.Source == schemas.HRmaxEstimated {
			value += " of an estimated HRmax"
		}
	}
	if c.State == schemas.NoValue {
		return name + ": no number."
	}
	s := name + " " + value + ", " + message.Unusual(c) + message.Apart(c) + "."
	if c.Previous.Present() {
		s += fmt.Sprintf(" %s %s since %s.", Signed(c.PrevChange, Decimals(c)), unit, c.PreviousTime.In(d.zone()).Format("2 Jan"))
	}
	if c.State == schemas.Building || !c.Mean.Present() {
		return s
	}
	s += fmt.Sprintf(" %s %s (%s %%) from %s, the mean of %s since %s; z %s, %s to %s expected.", Signed(c.Change, Decimals(c)), unit, Signed(c.Pct, 0),
		c.Mean.Text(Decimals(c)), schemas.Count(c.N, "test"), c.From.In(d.zone()).Format("2 Jan 2006"), Signed(c.Z, 1), c.PredLow.Text(Decimals(c)), c.PredHigh.Text(Decimals(c)))
	return s
}

// staff are the corrections of a test in words.
func (t *Test) staff(d *Data) []string {
	var out []string
	for _, c := range t.Corrections {
		s := fmt.Sprintf("%s: %s by %s", c.When.In(d.zone()).Format("2 Jan 2006 15:04"), ActionWords(c.Action), c.Who)
		if c.Action == schemas.ActionStart {
			s += " to " + c.Start.In(d.zone()).Format("15:04:05")
		}
		out = append(out, Sentence(s+": "+c.Why))
	}
	return out
}

// ActionWords says what staff did to a test.
func ActionWords(a schemas.CorrectionAction) string {
	switch a {
	case schemas.ActionExclude:
		return "left out"
	case schemas.ActionAccept:
		return "accepted"
	case schemas.ActionRestore:
		return "restored"
	case schemas.ActionStart:
		return "start moved"
	default:
		return string(a)
	}
}

// Signed writes a change with its sign, a dash where there is none.
func Signed(n schemas.Number, decimals int) string {
	if !n.Present() {
		return dash
	}
	return n.Signed(decimals)
}

// Sentence begins a text with a capital and ends it with a full stop.
func Sentence(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r, n := utf8.DecodeRuneInString(s); unicode.IsLower(r) {
		s = string(unicode.ToUpper(r)) + s[n:]
	}
	if s == "" || strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}
