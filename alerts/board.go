package alerts

import (
	"context"
	"slices"
	"time"

	"canter.example/alerts/message"
	"canter.example/alerts/rules"
	"canter.example/schemas"
)

// board is a session as it stands: what its message says of it.
type board struct {
	message.Summary
	looks map[string]message.Look

	tests    map[schemas.TestID]*schemas.Outcome
	assessed map[schemas.TestID]*schemas.Assessment
	notes    []schemas.Note
}

// newBoard returns a session as it stands; nil when it holds no test any more.
func (s *Service) newBoard(ctx context.Context, r *record) (*board, error) {
	if len(r.tests) == 0 {
		return nil, nil
	}
	tests, assessed := r.tests, r.assessed
	o := &tests[0]
	b := &board{looks: map[string]message.Look{}, notes: r.notes, Summary: message.Summary{
		Squad: o.Squad, Protocol: o.Protocol, When: o.Start, MicrocycleDay: o.MicrocycleDay, Surface: o.Surface,
		Conditions: r.conditions, Link: s.club.Page.SessionURL(r.session),
	}}
	b.traces(tests)
	if err := s.expected(b, tests); err != nil {
		return nil, err
	}
	b.tests, b.assessed = map[schemas.TestID]*schemas.Outcome{}, map[schemas.TestID]*schemas.Assessment{}
	for i := range tests {
		b.tests[tests[i].TestID] = &tests[i]
	}
	building := map[string]bool{}
	for i := range assessed {
		a := &assessed[i]
		b.assessed[a.TestID] = a
		// Beside the usable traces: a doubtful one has no verdict anyway.
		o, c := b.tests[a.TestID], a.Comparison(schemas.MeasureHRex, 0)
		if o != nil && o.Valid() && c != nil && c.State == schemas.Building {
			building[a.Athlete] = true
		}
	}
	b.Building = len(building)
	for _, al := range r.alerts {
		if al.Rule == schemas.RuleTestMissing || !al.Told {
			continue
		}
		look := message.Look{Item: message.Item{Alert: al}}
		err := s.load(ctx, b, &look.Item)
		if err != nil {
			return nil, err
		}
		if look.Done, err = s.done(ctx, b, &al); err != nil {
			return nil, err
		}
		b.looks[al.ID] = look
	}
	return b, nil
}

// traces sorts a session's athletes by what came of their traces; who ran
// twice counts by the better one.
func (b *board) traces(tests []schemas.Outcome) {
	valid := map[string]bool{}
	seen := map[string]bool{}
	for i := range tests {
		seen[tests[i].Athlete] = true
		if tests[i].Valid() {
			valid[tests[i].Athlete] = true
		}
	}
	b.Tested, b.Usable = len(seen), len(valid)
	for i := range tests {
		o := &tests[i]
		if valid[o.Athlete] || !seen[o.Athlete] {
			continue
		}
		why := ""
		if len(o.Reasons) > 0 {
			why = o.Reasons[0].Text
		}
		trouble := message.Trouble{Athlete: o.Athlete, Test: o.TestID, Why: why}
		switch {
		case o.Staff == schemas.Excluded:
			b.LeftOut = append(b.LeftOut, o.Athlete)
		case o.Quality == schemas.Check:
			b.Doubtful = append(b.Doubtful, trouble)
		default:
			b.Unusable = append(b.Unusable, trouble)
		}
		delete(seen, o.Athlete) // once
	}
}

// expected says who was missing from a session that was planned.
func (s *Service) expected(b *board, tests []schemas.Outcome) error {
	y, m, d := b.When.In(s.zone()).Date()
	from := time.Date(y, m, d, 0, 0, 0, 0, s.zone())
	slots, err := s.club.Slots(from, from.AddDate(0, 0, 1))
	if err != nil {
		return err
	}
	for _, slot := range slots {
		if slot.Planned.Squad != b.Squad || slot.Planned.Protocol != b.Protocol {
			continue
		}
		at := rules.Attend(slot, s.club.Athletes, tests, s.zone())
		b.Expected = max(at.Expected, b.Tested)
		b.Missing = nil
		for _, x := range at.Missing {
			if x.Absence == rules.NoTest {
				b.Missing = append(b.Missing, x.Athlete)
			}
		}
	}
	return nil
}

// done is what staff did about an alert and its test, in words, by time.
func (s *Service) done(ctx context.Context, b *board, al *schemas.Alert) ([]string, error) {
	type deed struct {
		at   time.Time
		text string
	}
	var deeds []deed
	seen := map[string]bool{}
	for _, n := range b.notes {
		if n.AlertID != al.ID {
			continue
		}
		what := "Note"
		if n.Seen {
			what = "Seen"
		}
		if n.Text == "" && seen[n.Who] {
			continue
		}
		seen[n.Who] = seen[n.Who] || n.Seen
		deeds = append(deeds, deed{n.When, message.Deed(s.club, what, n.Who, n.Text)})
	}
	if o := b.tests[al.TestID]; o != nil && (o.Staff != schemas.NoVerdict || o.StartSource == schemas.StartByHand) {
		corrections, err := s.history.AllCorrections(ctx, al.TestID)
		if err != nil {
			return nil, err
		}
		words := map[schemas.CorrectionAction]string{
			schemas.ActionExclude: "Left out", schemas.ActionAccept: "Accepted", schemas.ActionRestore: "Restored", schemas.ActionStart: "Start moved",
		}
		for _, c := range corrections {
			if w := words[c.Action]; w != "" {
				deeds = append(deeds, deed{c.When, message.Deed(s.club, w, c.Who, c.Why)})
			}
		}
	}
	slices.SortStableFunc(deeds, func(a, b deed) int { return a.at.Compare(b.at) })
	var out []string
	for _, d := range deeds[max(0, len(deeds)-mostDeeds):] {
		out = append(out, d.text)
	}
	return out, nil
}

// mostDeeds is how many of staff's doings stand under an alert's line, the
// latest.
const mostDeeds = 4

// summary is the session's message about the given alerts, in that order; with
// later, of these alone.
func (b *board) summary(alerts []string, later bool) *message.Summary {
	sum := b.Summary
	sum.Later = later
	for _, id := range alerts {
		if l, ok := b.looks[id]; ok {
			sum.Looks = append(sum.Looks, l)
		}
	}
	return &sum
}
