package scorer

import (
	"cmp"
	"context"
	"slices"
	"strings"

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
	s.log.Info("correction stored", "file", c.FileID.Short(), "test", c.TestID, "action", c.Action, "who", c.Who)
	// Without an id: when the stream is gone through once more, as after a
	// restore, an earlier request may have been handled before this correction
	// was stored again, and must not stand for this one.
	return s.broker.Publish(ctx, schemas.SubjectRescore+string(c.FileID), "",
		schemas.RescoreEvent{File: c.FileID, Cause: "correction " + c.ID})
}

// bytesGone ends the reason of a parked file that can't be put through again.
const bytesGone = " (The archive no longer keeps its bytes: copy the file into the folder anew to have it read again.)"

// applyVerdicts applies what needs no bytes to the outcomes in history of a
// file whose bytes are gone: excluded and accepted tests, a drop. A moved start
// or an athlete named by hand can't be applied then.
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
	words, err := s.words(ctx, id)
	if err != nil {
		return err
	}
	switch {
	case f.State == schemas.FileParked && words.file.Dropped:
		f.State = schemas.FileDropped
	case f.State == schemas.FileDropped && !words.file.Dropped:
		f.State = schemas.FileParked
	}
	if f.State == schemas.FileParked && !strings.HasSuffix(f.Reason, bytesGone) {
		f.Reason += bytesGone
	}
	windows := make(map[schemas.TestID][]schemas.TraceSecond, len(outcomes))
	for i := range outcomes {
		o := &outcomes[i]
		if windows[o.TestID], err = s.history.TraceSeconds(ctx, o.TestID); err != nil {
			return err
		}
		r := words.tests[o.TestID]
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
	return s.tell(ctx, f, past{words: words, before: outcomes}, outcomes, v)
}

// words is what staff said of a file and of the tests in it.
type words struct {
	file  schemas.FileRuling
	tests map[schemas.TestID]schemas.Ruling
}

// words returns what staff's corrections of a file and its tests come to.
func (s *Service) words(ctx context.Context, id schemas.FileID) (words, error) {
	cs, err := s.history.Corrections(ctx, id)
	if err != nil {
		return words{}, err
	}
	slices.SortFunc(cs, func(a, b schemas.Correction) int { return cmp.Compare(a.ID, b.ID) })
	by := map[schemas.TestID][]schemas.Correction{}
	for _, c := range cs {
		if c.TestID != "" {
			by[c.TestID] = append(by[c.TestID], c)
		}
	}
	out := words{file: schemas.RuleFile(cs), tests: make(map[schemas.TestID]schemas.Ruling, len(by))}
	for test, list := range by {
		out.tests[test] = schemas.Rule(list)
	}
	return out, nil
}
