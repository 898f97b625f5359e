package scorer

import (
	"context"
	"errors"
	"fmt"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/scorer/engine"
)

var (
	// ErrFileGone is returned when the archive no longer keeps a test's file.
	ErrFileGone = errors.New("the archive no longer keeps the file")
	// ErrTestGone is returned when scoring the file as proposed finds the test
	// no more.
	ErrTestGone = errors.New("the file has no such test then")
)

// Preview scores a test's file as if the ruling held for the test, and returns
// what the test would be. It is the way that a correction goes later, but for
// that nothing is stored and nobody is told. Errors: [ErrFileGone],
// [ErrTestGone], which says why; others are the broker's and the history's.
func (s *Service) Preview(ctx context.Context, o *schemas.Outcome, ruling schemas.Ruling) (engine.Found, error) {
	msg, traces, err := s.recording(ctx, o.FileID)
	if err != nil {
		return engine.Found{}, err
	}
	words, err := s.words(ctx, o.FileID)
	if err != nil {
		return engine.Found{}, err
	}
	if words.tests == nil {
		words.tests = map[schemas.TestID]schemas.Ruling{}
	}
	words.tests[o.TestID] = ruling
	result, failed, err := s.score(ctx, msg, traces, words)
	if err != nil {
		return engine.Found{}, err
	}
	if failed != nil {
		return engine.Found{}, fmt.Errorf("%w: %w", ErrTestGone, failed)
	}
	for i := range result.outcomes {
		if result.outcomes[i].TestID == o.TestID {
			return engine.Found{Outcome: result.outcomes[i], Window: result.windows[o.TestID]}, nil
		}
	}
	_, why := result.state()
	if why == "" {
		why = "the new start is outside the recording, or another test lies there"
	}
	return engine.Found{}, fmt.Errorf("%w: %s", ErrTestGone, why)
}

// Recording returns the whole trace that a test was found in, as recorded.
// Errors: [ErrFileGone], [ErrTestGone].
func (s *Service) Recording(ctx context.Context, o *schemas.Outcome) (*schemas.Trace, error) {
	_, traces, err := s.recording(ctx, o.FileID)
	if err != nil {
		return nil, err
	}
	for i := range traces {
		if traces[i].Part == o.Part {
			return &traces[i], nil
		}
	}
	return nil, fmt.Errorf("%w: it has no part %q", ErrTestGone, o.Part)
}

func (s *Service) recording(ctx context.Context, id schemas.FileID) (broker.FileMessage, []schemas.Trace, error) {
	msg, err := s.broker.File(ctx, id, s.club.Files.MaxSize)
	if errors.Is(err, broker.ErrNoFile) {
		return msg, nil, ErrFileGone
	}
	if err != nil {
		return msg, nil, err
	}
	// Where it was found last: a parked file may have been given a better name.
	f, ok, err := s.history.File(ctx, id)
	if err != nil {
		return msg, nil, err
	}
	if ok && f.Origin.Path != "" {
		msg.Origin = f.Origin
	}
	zone, date := s.openEnds(msg.Origin)
	traces, _, err := s.decode(msg, zone, date)
	if err != nil {
		return msg, nil, fmt.Errorf("%w: %w", ErrTestGone, err)
	}
	return msg, traces, nil
}
