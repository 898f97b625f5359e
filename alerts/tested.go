package alerts

import (
	"cmp"
	"context"
	"slices"
	"time"

	"canter.example/alerts/assess"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

// place is where a test counts: a squad, a protocol, and since when.
type place struct {
	squad, protocol string
	from            time.Time
}

// onTest asks for the squads to be gone through that the tests of an event
// belong to or belonged to, from the earliest of them on.
func (s *Service) onTest(ctx context.Context, e schemas.TestEvent, v schemas.Version) error {
	if !e.First { // of a file that nothing was known of there is no notice to close
		if err := s.closeParked(ctx, e.File, v); err != nil || e.Athlete == "" {
			return err
		}
	}
	t, err := s.touched(ctx, e)
	if err != nil {
		return err
	}
	for _, p := range t.places {
		if err := s.gather(ctx, p, t.staff); err != nil {
			return err
		}
	}
	return nil
}

// gather adds a place to what is to be gone through.
func (s *Service) gather(ctx context.Context, p place, now bool) error {
	e := schemas.SquadEvent{Squad: p.squad, Protocol: p.protocol, From: p.from, Waiting: s.now().UTC(), Now: now}
	return s.broker.Gather(ctx, schemas.SubjectSquad+schemas.SquadToken(p.squad, p.protocol), func(w *schemas.SquadEvent) schemas.SquadEvent {
		if w == nil {
			return e
		}
		merged := e
		merged.From, merged.Waiting = earliest(e.From, w.From), earliest(e.Waiting, w.Waiting)
		merged.Now = e.Now || w.Now
		return merged
	})
}

func earliest(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// touched gathers the places that an event touches.
type touched struct {
	places []place
	// staff is whether they had a word in it.
	staff bool
}

func (t *touched) note(squad, protocol string, from time.Time) {
	for i := range t.places {
		if p := &t.places[i]; p.squad == squad && p.protocol == protocol {
			p.from = earliest(p.from, from)
			return
		}
	}
	t.places = append(t.places, place{squad, protocol, from})
}

// touched returns where the tests of an event count or counted, in order.
func (s *Service) touched(ctx context.Context, e schemas.TestEvent) (*touched, error) {
	var t touched
	if e.First {
		for _, p := range e.Places {
			t.note(p.Squad, p.Protocol, p.From.Add(-assess.SameTest))
		}
	} else if err := s.lookFor(ctx, e, &t); err != nil {
		return nil, err
	}
	// An athlete takes their history along to another squad.
	if a := s.club.Athlete(e.Athlete); a == nil || severalSquads(a) {
		for _, p := range slices.Clone(t.places) {
			later, err := s.history.Tests(ctx, history.TestFilter{Athlete: e.Athlete, Protocol: p.protocol, From: p.from})
			if err != nil {
				return nil, err
			}
			for i := range later {
				if later[i].Squad != p.squad {
					t.note(later[i].Squad, p.protocol, later[i].Start)
				}
			}
		}
	}
	slices.SortFunc(t.places, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.squad, b.squad), cmp.Compare(a.protocol, b.protocol))
	})
	return &t, nil
}

// lookFor finds the tests of an event. One that is gone or has moved is found
// where it last was: in its file's removed rows, and in its last assessment.
func (s *Service) lookFor(ctx context.Context, e schemas.TestEvent, t *touched) error {
	ids := slices.Concat(e.Tests, e.Gone)
	file, err := s.history.Tests(ctx, history.TestFilter{File: e.File, IncludeRemoved: true})
	if err != nil {
		return err
	}
	for i := range file {
		o := &file[i]
		if !slices.Contains(ids, o.TestID) {
			continue
		}
		from := o.Start.Add(-assess.SameTest)
		if o.StartSource == schemas.StartByHand {
			from = from.Add(-24 * time.Hour) // it was elsewhere in its file before
		}
		t.note(o.Squad, o.Protocol, from)
		t.staff = t.staff || o.Staff != schemas.NoVerdict || o.StartSource == schemas.StartByHand
	}
	for _, id := range ids {
		a, ok, err := s.history.Assessment(ctx, id)
		if err != nil {
			return err
		}
		if ok {
			t.note(a.Squad, a.Protocol, a.Start.Add(-assess.SameTest))
		}
	}
	return nil
}
