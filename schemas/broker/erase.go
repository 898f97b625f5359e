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
	// Word of it goes before its content: nobody is to hear of it and find nothing.
	return b.deleteAll(ctx, []messages{
		{schemas.StreamInput, []string{schemas.SubjectFile + string(id), schemas.SubjectOrigin + string(id) + ".*", schemas.SubjectRescore + string(id), schemas.SubjectCorrection + string(id)}},
		{schemas.StreamContent, []string{schemas.SubjectContent + string(id)}},
		{schemas.StreamTests, []string{schemas.SubjectParked + string(id)}},
	})
}

// DeleteAthlete takes out the events about an athlete: their tests, corrections
// of these, and chat messages that wait to be sent.
func (b *Broker) DeleteAthlete(ctx context.Context, athlete string, tests []string, said []string) (int, error) {
	input, chat := messages{stream: schemas.StreamInput}, messages{stream: schemas.StreamChat}
	for _, id := range tests {
		input.filters = append(input.filters, schemas.SubjectCorrection+id)
	}
	for _, id := range said {
		chat.filters = append(chat.filters, schemas.SubjectChat+id)
	}
	return b.deleteAll(ctx, []messages{{schemas.StreamTests, []string{schemas.SubjectTest + schemas.AthleteToken(athlete)}}, input, chat})
}

// messages are those of a stream on subjects that filters match.
type messages struct {
	stream  string
	filters []string
}

// deleteAll deletes them in this order, and returns how many there were.
func (b *Broker) deleteAll(ctx context.Context, all []messages) (int, error) {
	n := 0
	for _, of := range all {
		s, err := b.js.Stream(ctx, of.stream)
		if err != nil {
			return n, fmt.Errorf("broker: stream %s: %w", of.stream, err)
		}
		for _, filter := range of.filters {
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
