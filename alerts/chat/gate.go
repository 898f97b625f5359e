package chat

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/slack-go/slack"
)

// maxTries is how often one call is made when the chat keeps asking to wait.
const maxTries = 5

// gates hold back calls: one gate a channel for posts, one for all reads. A
// gate lets one caller through at a time, in order of arrival.
type gates struct {
	now     func() time.Time
	maxWait time.Duration

	mu   sync.Mutex
	each map[string]*gate
}

type gate struct {
	turn chan struct{}
	// next is the earliest time of the next call, span how long that was to wait
	// when it was set: a clock that was put back makes it no longer. Guarded by
	// the gates' lock.
	next time.Time
	span time.Duration
}

// left returns how long the gate stays closed. A clock that was put back starts
// the span anew, once: who only asks, again and again, is to see it end.
func (gt *gate) left(now time.Time) time.Duration {
	if gt.next.Sub(now) > gt.span {
		gt.next = now.Add(gt.span)
	}
	return gt.next.Sub(now)
}

// pause returns how long a call at the named gate would have to wait now.
func (g *gates) pause(name string) time.Duration {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.each[name] == nil {
		return 0
	}
	return max(g.each[name].left(g.now()), 0)
}

func (g *gates) after(gt *gate, d time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	gt.next, gt.span = g.now().Add(d), d
}

func (g *gates) of(name string) *gate {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.each[name] == nil {
		g.each[name] = &gate{turn: make(chan struct{}, 1)}
	}
	return g.each[name]
}

// through makes a call at the named gate, at least pace after the last one
// there, again each time the chat answers that it was too early (such a call
// has done nothing). It gives up with an [ErrTemporary] when the wait would
// be longer than maxWait or than ctx allows.
func (g *gates) through(ctx context.Context, name string, pace time.Duration, call func() error) error {
	gt := g.of(name)
	select {
	case gt.turn <- struct{}{}:
		defer func() { <-gt.turn }()
	case <-ctx.Done():
		return ctx.Err()
	}
	var err error
	for range maxTries {
		if werr := g.wait(ctx, gt); werr != nil {
			return werr
		}
		err = call()
		g.after(gt, pace)
		var limited *slack.RateLimitedError
		if !errors.As(err, &limited) {
			return err
		}
		g.after(gt, max(pace, limited.RetryAfter))
	}
	return err
}

// wait sleeps until the gate's next call is due. It does not sleep when that
// is too far off, but says how far.
func (g *gates) wait(ctx context.Context, gt *gate) error {
	g.mu.Lock()
	d := gt.left(g.now())
	g.mu.Unlock()
	if d <= 0 {
		return ctx.Err()
	}
	deadline, ok := ctx.Deadline()
	if d > g.maxWait || ok && g.now().Add(d).After(deadline) {
		return &TemporaryError{RetryAfter: d, Reason: "the next message is due in " + d.Round(time.Millisecond).String()}
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
