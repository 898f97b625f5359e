package broker

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
)

// A store that has met a disk error takes nothing more until its server is
// started again, even when the disk is well: the server answers, its streams can
// be read, and each publish waits in vain. So it is publishing that tells.

const (
	// stuckAfter is how long publishing may fail before health says so.
	stuckAfter = 10 * time.Second
	// brokenAfter is how long before the embedded broker is given up.
	brokenAfter = 20 * time.Second
)

// pulse is since when nothing could be stored.
type pulse struct {
	mu    sync.Mutex
	since time.Time // zero: the last publish was stored
	tries int
	last  error
}

// note records how a publish went.
func (p *pulse) note(ctx context.Context, nc *nats.Conn, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case err == nil || isWrongLastSequence(err):
		p.since, p.tries, p.last = time.Time{}, 0, nil
	case ctx.Err() != nil || !nc.IsConnected() || errors.Is(err, nats.ErrMaxPayload):
		// The caller's own end, or another matter.
	default:
		if p.since.IsZero() {
			p.since = time.Now()
		}
		p.tries++
		p.last = err
	}
}

// failing returns an error when publishing has failed for so long, and several
// times.
func (p *pulse) failing(limit time.Duration) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.since.IsZero() || p.tries < 2 || time.Since(p.since) < limit {
		return nil
	}
	return fmt.Errorf("broker: nothing could be stored for %s (%w): is its disk full or broken?", time.Since(p.since).Round(time.Second), p.last)
}

// Watch returns when ctx ends, with nil, or with an error when the embedded
// broker has stopped storing: only a new start mends that.
func (b *Broker) Watch(ctx context.Context) error {
	if b.server == nil {
		<-ctx.Done()
		return nil
	}
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			if err := b.pulse.failing(brokenAfter); err != nil {
				return fmt.Errorf("%w Make room, then start canter again: what it had in hand is not lost", err)
			}
		}
	}
}
