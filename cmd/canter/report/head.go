package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/chart"
	"canter.example/schemas"
)

// facts is the head of the page.
func (d *Data) facts() []fact {
	out := []fact{{"Squad", d.Squad}, {"Protocol", d.protocolWords()}, {"Day", d.when()}, {"Conditions", d.conditions()}, {"Tests", d.coverage()}}
	if d.Expected > 0 {
		missing := "nobody"
		if len(d.Missing) > 0 {
			missing = people(d.Missing)
		}
		out = append(out, fact{"Missing", missing})
	}
	for _, kind := range []struct {
		name string
		is   func(*schemas.Outcome) bool
	}{
		{"Unusable", func(o *schemas.Outcome) bool { return o.Quality == schemas.Reject && o.Staff != schemas.Excluded }},
		{"Doubtful", func(o *schemas.Outcome) bool { return o.Quality == schemas.Check && o.Staff == schemas.NoVerdict }},
		{"Left out", func(o *schemas.Outcome) bool { return o.Staff == schemas.Excluded }},
	} {
		var who []chart.Person
		for i := range d.Tests {
			if kind.is(&d.Tests[i].Outcome) {
				who = append(who, d.Tests[i].Who)
			}
		}
		if len(who) > 0 {
			out = append(out, fact{kind.name, people(who)})
		}
	}
	for _, e := range d.Effects {
		out = append(out, fact{"Whole squad, " + e.Measure.Name(e.Seconds), effectWords(e)})
	}
	return out
}

func people(ps []chart.Person) string {
	var names []string
	for _, p := range ps {
		names = append(names, p.Name)
	}
	return strings.Join(names, ", ")
}

func (d *Data) protocolWords() string {
	p := d.Protocol
	if p == nil {
		if len(d.Tests) > 0 {
			return d.Tests[0].Outcome.Protocol
		}
		return dash
	}
	name := p.Name
	if name == "" {
		name = p.ID
	}
	return fmt.Sprintf("%s (%s)", name, p.Kind())
}

func (d *Data) when() string {
	if len(d.Tests) == 0 {
		return d.Session
	}
	first, last := d.Tests[0].Outcome.Start, d.Tests[0].Outcome.Start
	for i := range d.Tests {
		if t := d.Tests[i].Outcome.Start; t.Before(first) {
			first = t
		} else if t.After(last) {
			last = t
		}
	}
	clock := func(t time.Time) string { return t.In(d.zone()).Format("15:04") }
	s := d.day() + ", starts " + clock(first)
	if clock(first) != clock(last) {
		s += " to " + clock(last)
	}
	return s + " (" + d.zone().String() + ")"
}

// conditions are those of the tests; where they differ, all are named.
func (d *Data) conditions() string {
	var seen []string
	for i := range d.Tests {
		o := &d.Tests[i].Outcome
		c := strings.Trim(o.MicrocycleDay+", "+o.Surface, ", ")
		if c != "" && !slices.Contains(seen, c) {
			seen = append(seen, c)
		}
	}
	if len(seen) == 0 {
		return "not stated"
	}
	return strings.Join(seen, "; ")
}

// coverage counts athletes, and their tests by what they may be used for.
func (d *Data) coverage() string {
	var good, accepted, doubtful, unusable, out int
	tested := map[string]bool{}
	for i := range d.Tests {
		o := &d.Tests[i].Outcome
		tested[o.Athlete] = true
		switch {
		case o.Staff == schemas.Excluded:
			out++
		case o.Quality == schemas.Good:
			good++
		case o.Quality == schemas.Reject:
			unusable++
		case o.Staff == schemas.Accepted:
			accepted++
		default:
			doubtful++
		}
	}
	s := schemas.Count(len(tested), "athlete") + " tested"
	if d.Expected > 0 {
		s = fmt.Sprintf("%d of %s tested", d.Expected-len(d.Missing), schemas.Count(d.Expected, "athlete"))
		if guests := len(tested) - (d.Expected - len(d.Missing)); guests > 0 {
			s += fmt.Sprintf(", and %d from outside the squad", guests)
		}
	}
	var parts []string
	for _, n := range []struct {
		n    int
		what string
	}{{good, "good"}, {accepted, "accepted by staff"}, {doubtful, "doubtful"}, {unusable, "unusable"}, {out, "left out by staff"}} {
		if n.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n.n, n.what))
		}
	}
	return s + ": " + strings.Join(parts, ", ")
}

func effectWords(e assess.Effect) string {
	if e.State != assess.Estimated {
		return "not estimated: " + string(e.State)
	}
	unit := "bpm"
	if e.Unit == assess.Points {
		unit = "points of %HRmax"
	}
	return fmt.Sprintf("%s %s against the squad's usual session (%s to %s); what all share, such as heat, pace, surface or straps",
		Signed(e.Size, 1), unit, Signed(e.Low, 1), Signed(e.High, 1))
}
