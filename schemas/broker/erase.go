package broker

import (
	"context"
	"errors"
	"fmt"

	"canter.example/schemas"
	"github.com/nats-io/nats.go/jetstream"
)

// DeleteFile takes a file out of the archive for good, with all that was said
// of it: where else it was seen, requests to score it, notices that it is
// parked. The bytes are overwritten on the disk. It returns how many messages
// went; none, and no error, when the archive does not hold the file.
func (b *Broker) DeleteFile(ctx context.Context, id schemas.FileID) (int, error) {
	return b.deleteAll(ctx, map[string][]string{
		schemas.StreamContent: {schemas.SubjectContent + string(id)},
		schemas.StreamInput:   {schemas.SubjectFile + string(id), schemas.SubjectOrigin + string(id) + ".*", schemas.SubjectRescore + string(id), schemas.SubjectCorrection + string(id)},
		schemas.StreamTests:   {schemas.SubjectParked + string(id)},
	})
}

// DeleteAthlete takes out the events about an athlete: their tests, corrections
// of these, and chat messages that wait to be sent.
func (b *Broker) DeleteAthlete(ctx context.Context, athlete string, tests []string, messages []string) (int, error) {
	subjects := map[string][]string{schemas.StreamTests: {schemas.SubjectTest + schemas.AthleteToken(athlete)}}
	for _, id := range tests {
		subjects[schemas.StreamInput] = append(subjects[schemas.StreamInput], schemas.SubjectCorrection+id)
	}
	for _, id := range messages {
		subjects[schemas.StreamChat] = append(subjects[schemas.StreamChat], schemas.SubjectChat+id)
	}
	return b.deleteAll(ctx, subjects)
}

func (b *Broker) deleteAll(ctx context.Context, subjects map[string][]string) (int, error) {
	n := 0
	for name, filters := range subjects {
		s, err := b.js.Stream(ctx, name)
		if err != nil {
			return n, fmt.Errorf("broker: stream %s: %w", name, err)
		}
		for _, filter := range filters {
			info, err := s.Info(ctx, jetstream.WithSubjectFilter(filter))
			if err != nil {
				return n, fmt.Errorf("broker: list %s: %w", filter, err)
			}
			for subject := range info.State.Subjects {
				deleted, err := overwrite(ctx, s, subject)
				n += deleted
				if err != nil {
					return n, fmt.Errorf("broker: delete %s: %w", subject, err)
				}
			}
		}
	}
	return n, nil
}

// overwrite deletes all messages of a subject, their bytes with them.
func overwrite(ctx context.Context, s jetstream.Stream, subject string) (n int, err error) {
	for {
		m, err := s.GetLastMsgForSubject(ctx, subject)
		if errors.Is(err, jetstream.ErrMsgNotFound) {
			return n, nil
		}
		if err != nil {
			return n, err
		}
		if err := s.SecureDeleteMsg(ctx, m.Sequence); err != nil {
			return n, err
		}
		n++
	}
}
