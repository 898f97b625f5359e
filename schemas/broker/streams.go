package broker

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"canter.example/schemas"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/errgroup"
)

// smallerBlocks, as the most messages of a subject, is a limit that nothing comes
// near. With one the server keeps a stream in blocks of 4 MiB instead of 8, each of
// which it holds in memory while it is written or read.
const smallerBlocks = 1 << 40

// declareStreams makes the streams, or brings them up to date.
func (b *Broker) declareStreams(ctx context.Context, cfg Config) error {
	streams := []jetstream.StreamConfig{
		{
			Name:        schemas.StreamInput,
			Description: "files that were found, and all else that makes the scorer work",
			Subjects:    []string{schemas.SubjectFile + "*", schemas.SubjectOrigin + "*.*", schemas.SubjectRescore + "*", schemas.SubjectCorrection + "*"},
			MaxAge:      cfg.KeepFiles,
		},
		{
			Name:        schemas.StreamContent,
			Description: "the bytes of the files",
			Subjects:    []string{schemas.SubjectContent + "*"},
			MaxAge:      cfg.KeepFiles,
		},
		{
			Name:        schemas.StreamTests,
			Description: "what the scorer did, for the alerts stage",
			Subjects:    []string{schemas.SubjectTest + "*", schemas.SubjectParked + "*", schemas.SubjectNote + "*"},
			MaxAge:      30 * 24 * time.Hour,
		},
		{
			Name:        schemas.StreamChat,
			Description: "messages of the outbox that wait to be sent",
			Subjects:    []string{schemas.SubjectChat + "*"},
			MaxAge:      30 * 24 * time.Hour,
		},
		{
			Name:              schemas.StreamSquads,
			Description:       "squads whose sessions are to be gone through again, one message each",
			Subjects:          []string{schemas.SubjectSquad + "*"},
			Retention:         jetstream.WorkQueuePolicy,
			MaxMsgsPerSubject: 1,
		},
		{
			Name:              schemas.StreamKnown,
			Description:       "hashes of files that were in the archive, kept when the files' time there is over",
			Subjects:          []string{schemas.SubjectKnown + "*.*"},
			MaxMsgsPerSubject: 1,
		},
	}
	made := make([]jetstream.Stream, len(streams))
	var g errgroup.Group // a server makes them side by side; most of it is waiting for the disk
	for i, c := range streams {
		if b.server != nil && (c.Name == schemas.StreamInput || c.Name == schemas.StreamContent) {
			c.MaxMsgsPerSubject = smallerBlocks
		}
		c.Storage, c.Replicas, c.Duplicates = jetstream.FileStorage, cfg.Replicas, 2*time.Minute
		if c.MaxAge > 0 {
			c.Duplicates = min(c.Duplicates, c.MaxAge)
		}
		g.Go(func() (err error) {
			if made[i], err = b.stream(ctx, c, cfg.Join); err != nil {
				return fmt.Errorf("broker: stream %s (is JetStream on, is the account allowed to, has canter serve run here?): %w", c.Name, errors.Join(err, b.refused.last()))
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	for i, s := range made {
		b.created[streams[i].Name], b.streams[streams[i].Name] = s.CachedInfo().Created, s
	}
	return nil
}

func (b *Broker) stream(ctx context.Context, c jetstream.StreamConfig, join bool) (jetstream.Stream, error) {
	s, err := b.js.Stream(ctx, c.Name)
	if c.Replicas == 0 {
		if c.Replicas = 1; err == nil {
			c.Replicas = s.CachedInfo().Config.Replicas
		}
	}
	// In the embedded server nobody else makes one that an older canter had not.
	if missing := errors.Is(err, jetstream.ErrStreamNotFound); join && !(missing && b.server != nil) || err == nil && sameStream(s.CachedInfo().Config, c) {
		return s, err
	}
	// Only what is needed is asked for: an account need not be allowed to change
	// streams in order to make them, or to find them as they should be.
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		s, err = b.js.CreateStream(ctx, c)
		if !errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) {
			return s, err
		}
	}
	return b.js.CreateOrUpdateStream(ctx, c)
}

// sameStream reports whether a stream is as want says; the server has put
// defaults in for all that want leaves open.
func sameStream(is, want jetstream.StreamConfig) bool {
	return slices.Equal(is.Subjects, want.Subjects) && is.Description == want.Description &&
		is.Retention == want.Retention && is.Storage == want.Storage && is.MaxAge == want.MaxAge &&
		is.Duplicates == want.Duplicates && is.Replicas == want.Replicas &&
		max(is.MaxMsgsPerSubject, 0) == want.MaxMsgsPerSubject
}
