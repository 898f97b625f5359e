package report

import (
	"cmp"
	"slices"
	"strings"

	"canter.example/alerts/assess"
	"canter.example/schemas"
)

// looks are the tests whose numbers set off a rule and that still count.
func (d *Data) looks() []look {
	rank := map[schemas.RuleID]int{schemas.RuleBoth: 3, schemas.RuleHRexRisen: 2, schemas.RuleHRRWorsened: 1}
	type ranked struct {
		look
		rank int
		z    float64
	}
	var found []ranked
	for i := range d.Tests {
		t := &d.Tests[i]
		if t.Assessment == nil || t.Outcome.Staff == schemas.Excluded || len(t.Assessment.Fired) == 0 {
			continue
		}
		l := ranked{look: look{Anchor: anchor(i), Name: t.Who.Name}}
		if c := t.comparison(schemas.MeasureHRex, 0); c != nil {
			l.z = c.Z.Or(0)
		}
		for _, f := range t.Assessment.Fired {
			if r := rank[f.Rule]; r >= l.rank {
				l.rank, l.What = r, d.ruleWords(f.Rule)
			}
			l.Reasons = append(l.Reasons, Sentence(f.Reason))
		}
		if s := d.ownShare(t); s != "" {
			l.Reasons = append(l.Reasons, s)
		}
		if s := alertState(t.Alerts); s != "" {
			l.What += " (" + s + ")"
		}
		found = append(found, l)
	}
	slices.SortStableFunc(found, func(a, b ranked) int { return cmp.Or(cmp.Compare(b.rank, a.rank), cmp.Compare(b.z, a.z)) })
	var out []look
	for _, f := range found {
		out = append(out, f.look)
	}
	return out
}

// moved reports whether the squad as a whole moved in a measure by more than
// the club's trifle, as in the messages of that day.
func (d *Data) moved(e assess.Effect) bool { return e.Beyond(d.Settings.Trifle(e.Measure, e.Unit)) }

// squadMoved is the sentence that goes before all looks on a day that moved
// everybody; "" on others.
func (d *Data) squadMoved() string {
	var parts []string
	for _, e := range d.Effects {
		if d.moved(e) {
			unit := " bpm"
			if e.Unit == assess.Points {
				unit = " points"
			}
			parts = append(parts, e.Measure.Name(e.Seconds)+" "+Signed(e.Size, 1)+unit)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "The whole squad moved that day (" + strings.Join(parts, ", ") + "): look first at what all share, such as heat, pace, surface and straps, and then at what is left of each change."
}

// ownShare is what is left of an athlete's changes without the squad's.
func (d *Data) ownShare(t *Test) string {
	var parts []string
	for _, e := range d.Effects {
		c := t.comparison(e.Measure, e.Seconds)
		if !d.moved(e) || c == nil || !c.Change.Present() || (c.State != schemas.Higher && c.State != schemas.Lower) {
			continue
		}
		if (c.Unit == assess.Points) == (e.Unit == assess.Points) {
			parts = append(parts, e.Measure.Name(e.Seconds)+" "+Signed(e.Without(c.Change), Decimals(c)))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "With the squad's changes taken off: " + strings.Join(parts, ", ") + "."
}

// alertState says what became of a test's alert; "" while it is open.
func alertState(alerts []schemas.Alert) string {
	for _, a := range alerts {
		if a.State == schemas.AlertSeen || a.State == schemas.AlertClosed || a.State == schemas.AlertLapsed {
			return "alert " + string(a.State)
		}
	}
	return ""
}

func (d *Data) ruleWords(r schemas.RuleID) string {
	hrr := d.hrrName()
	if hrr == "" {
		hrr = "HRR"
	}
	switch r {
	case schemas.RuleBoth:
		return "HRex higher and " + hrr + " smaller than usual"
	case schemas.RuleHRexRisen:
		return "HRex higher than usual"
	case schemas.RuleHRRWorsened:
		return hrr + " smaller than usual (slower recovery)"
	default:
		return RuleWords(r)
	}
}

// RuleWords say what a rule is about; its id where there are none.
func RuleWords(r schemas.RuleID) string {
	if words, ok := map[schemas.RuleID]string{
		schemas.RuleBoth: "HRex higher and recovery slower than usual", schemas.RuleHRexRisen: "HRex higher than usual",
		schemas.RuleHRRWorsened: "Recovery slower than usual", schemas.RuleHRexRunning: "HRex higher for several tests",
		schemas.RuleHRRRunning: "Recovery slower for several tests", schemas.RuleHRexDrift: "HRex drifting up", schemas.RuleHRRDrift: "Recovery drifting slower",
		schemas.RuleOutsideBand: "HRex above the intended intensity", schemas.RuleHRmaxExceeded: "A reading above the noted HRmax",
		schemas.RuleTraceInvalid: "Trace unusable", schemas.RuleSquadEffect: "The whole squad moved together", schemas.RuleTestMissing: "No test came",
		schemas.RuleFileParked: "A file could not be handled", schemas.RuleEasier: "HRex lower or recovery faster than usual",
	}[r]; ok {
		return words
	}
	return string(r)
}
