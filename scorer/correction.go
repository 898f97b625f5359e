package scorer

import (
	"context"
	"slices"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/history"
)

// onCorrection writes staff's word down, then asks for the file to be scored
// again. The request is a new event: whoever handles it finds the correction
// stored.
func (s *Service) onCorrection(ctx context.Context, d *broker.Delivery) error {
	var c schemas.Correction
	if err := schemas.DecodeEvent(d.Data, &c); err != nil {
		return broker.Permanent(err)
	}
	if err := s.history.SaveCorrection(ctx, c); err != nil {
		return err
	}
	s.log.Info("correction stored", "test", c.TestID, "action", c.Action, "who", c.Who)
	return s.broker.Publish(ctx, schemas.SubjectRescore+string(c.FileID), "correction-"+c.ID,
		schemas.RescoreEvent{File: c.FileID, Cause: "correction " + c.ID})
}

// applyVerdicts applies excluded and accepted to the outcomes in history of a
// file whose bytes are gone. A moved start can't be applied then.
func (s *Service) applyVerdicts(ctx context.Context, id schemas.FileID, v schemas.Version) error {
	f, ok, err := s.history.File(ctx, id)
	if err != nil {
		return err
	}
	if !ok {
		s.log.Warn("scorer: asked to score a file that neither archive nor history knows", "file", id.Short())
		return nil
	}
	outcomes, err := s.testsOf(ctx, id)
	if err != nil {
		return err
	}
	rulings, err := s.rulings(ctx, id)
	if err != nil {
		return err
	}
	windows := make(map[schemas.TestID][]schemas.TraceSecond, len(outcomes))
	for i := range outcomes {
		o := &outcomes[i]
		if windows[o.TestID], err = s.history.TraceSeconds(ctx, o.TestID); err != nil {
			return err
		}
		r := rulings[o.TestID]
		o.Staff, o.Version = r.Verdict, v
		if !r.Start.IsZero() && !r.Start.Equal(o.Start) {
			s.log.Warn("scorer: the start can't be moved, the archive no longer keeps the file", "test", o.TestID, "file", id.Short())
		}
	}
	f.Version = v
	result := history.FileResult{File: f, Tests: outcomes, Traces: windows}
	if result.Loads, err = s.history.FileLoads(ctx, id); err != nil {
		return err
	}
	if result.Series, err = s.history.FileSeries(ctx, id); err != nil {
		return err
	}
	if err := s.save(ctx, result); err != nil {
		return err
	}
	return s.tell(ctx, f, outcomes, outcomes, v)
}

// rulings returns what staff's corrections of a file's tests come to.
func (s *Service) rulings(ctx context.Context, id schemas.FileID) (map[schemas.TestID]schemas.Ruling, error) {
	cs, err := s.history.Corrections(ctx, id)
	if err != nil {
		return nil, err
	}
	by := map[schemas.TestID][]schemas.Correction{}
	for _, c := range cs {
		by[c.TestID] = append(by[c.TestID], c)
	}
	out := make(map[schemas.TestID]schemas.Ruling, len(by))
	for test, list := range by {
		slices.SortFunc(list, func(a, b schemas.Correction) int {
			switch {
			case a.ID < b.ID:
				return -1
			case a.ID > b.ID:
				return 1
			}
			return 0
		})
		out[test] = schemas.Rule(list)
	}
	return out, nil
}
