package broker

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"canter.example/schemas"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// defaultAckWait is how long the broker waits for word of a delivery; while a
// handler works, it gets word three times in that span.
const defaultAckWait = 30 * time.Second

// grace is how long a handler may go on after its service was told to stop.
const grace = 10 * time.Second

// Work names what a service consumes.
type Work struct {
	Stream  string
	Durable string
	// Filter is a subject filter, "" for the whole stream.
	Filter string
	// Workers handle deliveries at the same time, in this process.
	Workers int
	// OneAtATime keeps a single delivery out among all processes.
	OneAtATime bool
	Log        *slog.Logger
}

// Delivery is one message handed to a handler.
type Delivery struct {
	Subject string
	Header  nats.Header
	Data    []byte
	// Version orders this delivery among all of its stream.
	Version schemas.Version
	// Tries counts deliveries of this message, this one included.
	Tries int
	// Left is how many messages waited for the consumer when this one was
	// delivered.
	Left int
}

// Handler does the work of one delivery. nil acknowledges it, an error gives
// it back to be delivered again later, a [Permanent] error ends it. Its
// context outlives the service's stop by a grace of ten seconds.
type Handler func(ctx context.Context, d *Delivery) error

// Consume hands deliveries of w to h until ctx ends, then gives back what no
// worker has begun, waits for the workers and returns nil.
func (b *Broker) Consume(ctx context.Context, w Work, h Handler) error {
	tries := 0
	for {
		again, err := b.consume(ctx, w, h)
		// The server may not be done with what was deleted (2.9 then deletes the
		// new one's files), nor another process with making it anew.
		switch {
		case again:
			tries = anewTries
		case err == nil || tries == 0:
			return err
		default:
			tries--
		}
		select {
		case <-time.After(anewPause + rand.N(anewPause)): //nolint:gosec // a jitter, not a secret
		case <-ctx.Done():
			return nil
		}
	}
}

// anewTries and anewPause bound how long a consumer that was deleted may take to
// be there again.
const (
	anewTries = 5
	anewPause = time.Second
)

// consume is Consume until the consumer had to be made anew.
func (b *Broker) consume(ctx context.Context, w Work, h Handler) (again bool, err error) {
	cons, err := b.consumer(ctx, w)
	if ctx.Err() != nil {
		return false, nil // stopped before it began
	}
	if err != nil {
		return false, err
	}
	workers := max(w.Workers, 1)
	iter, err := cons.Messages(jetstream.PullMaxMessages(2 * workers))
	if err != nil {
		return false, fmt.Errorf("broker: consume %s: %w", w.Durable, err)
	}
	queue := make(chan jetstream.Msg)
	var wg sync.WaitGroup
	var mended, deleted bool
	watching, unwatch := context.WithCancel(ctx)
	defer unwatch()
	wg.Go(func() {
		if b.untilAstray(watching, w) {
			mended = true
			iter.Stop()
		}
	})
	for range workers {
		wg.Go(func() {
			for m := range queue {
				b.handle(ctx, w, m, h)
			}
		})
	}
	stop := context.AfterFunc(ctx, iter.Drain)
	defer stop()
	for {
		m, err := iter.Next()
		if errors.Is(err, jetstream.ErrMsgIteratorClosed) {
			break
		}
		if errors.Is(err, jetstream.ErrConsumerDeleted) {
			deleted = true // by another process, to be made anew
			continue
		}
		if err != nil {
			// Missed heartbeats and the like: the iterator goes on by itself.
			w.Log.Warn("broker: waiting for messages", "consumer", w.Durable, "err", err)
			continue
		}
		select {
		case queue <- m:
		case <-ctx.Done():
			_ = m.Nak()
		}
	}
	close(queue)
	unwatch()
	wg.Wait()
	if ctx.Err() == nil && !mended && !deleted {
		return false, fmt.Errorf("broker: consumer %s ended: was it deleted, or the connection closed?", w.Durable)
	}
	return ctx.Err() == nil, nil
}

func (b *Broker) consumer(ctx context.Context, w Work) (jetstream.Consumer, error) {
	pending := 256
	if w.OneAtATime {
		pending = 1
	}
	cfg := jetstream.ConsumerConfig{
		Durable:       w.Durable,
		FilterSubject: w.Filter,
		AckPolicy:     jetstream.AckExplicitPolicy,
		AckWait:       b.ackWait,
		MaxDeliver:    -1, // the handlers decide when to park: only they can say why
		MaxAckPending: pending,
	}
	if b.server != nil {
		b.first.Lock()
		defer b.first.Unlock()
		if !b.consumed[w.Durable] {
			if err := b.takeBack(ctx, w, cfg); err != nil {
				return nil, err
			}
		}
		b.consumed[w.Durable] = true
		if w.Stream == schemas.StreamInput && w.Filter == "" {
			b.handing.Store(true)
		}
	}
	c, err := b.js.CreateOrUpdateConsumer(ctx, w.Stream, cfg)
	if err != nil {
		return nil, fmt.Errorf("broker: declare consumer %s on %s: %w", w.Durable, w.Stream, err)
	}
	return c, nil
}

// takeBack makes a consumer of the embedded broker deliver again at once what a
// process that was killed had in hand, when this one consumes from it first:
// nobody else works on this broker, so nobody has it now, and there is no sense
// in waiting for the time to run out.
// The server looks at what is out when the time given for it changes.
func (b *Broker) takeBack(ctx context.Context, w Work, cfg jetstream.ConsumerConfig) error {
	c, err := b.js.Consumer(ctx, w.Stream, w.Durable)
	if errors.Is(err, jetstream.ErrConsumerNotFound) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("broker: consumer %s: %w", w.Durable, err)
	}
	if c.CachedInfo().NumAckPending == 0 {
		return nil
	}
	cfg.AckWait = time.Millisecond
	if _, err := b.js.UpdateConsumer(ctx, w.Stream, cfg); err != nil {
		return fmt.Errorf("broker: take back what %s had in hand: %w", w.Durable, err)
	}
	select { // the server looks a tenth of a second later
	case <-time.After(250 * time.Millisecond):
	case <-ctx.Done():
	}
	return nil
}

// handle runs h for one message and settles it by what h returned.
func (b *Broker) handle(ctx context.Context, w Work, m jetstream.Msg, h Handler) {
	if ctx.Err() != nil {
		_ = m.Nak()
		return
	}
	meta, err := m.Metadata()
	if err != nil {
		w.Log.Error("broker: message without metadata", "subject", m.Subject(), "err", err)
		_ = m.Term()
		return
	}
	d := &Delivery{
		Subject: m.Subject(), Header: m.Headers(), Data: m.Data(),
		Version: schemas.NewVersion(b.created[w.Stream], meta.Sequence.Stream),
		Tries:   int(min(meta.NumDelivered, 1<<30)),
		Left:    int(min(meta.NumPending, 1<<30)),
	}
	hctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	stop := context.AfterFunc(ctx, func() { time.AfterFunc(grace, cancel) })
	defer stop()
	done := make(chan struct{})
	go sayInProgress(m, b.ackWait/3, done)
	err = recovered(hctx, d, h)
	close(done)
	b.settle(hctx, w, m, d, err, ctx.Err() != nil)
}

func sayInProgress(m jetstream.Msg, every time.Duration, done <-chan struct{}) {
	t := time.NewTicker(every)
	defer t.Stop()
	for {
		select {
		case <-t.C:
			_ = m.InProgress()
		case <-done:
			return
		}
	}
}

// recovered turns a panic of the handler into an error: one bad message must
// not stop the others.
func recovered(ctx context.Context, d *Delivery, h Handler) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("broker: handler panicked on %s: %v\n%s", d.Subject, p, debug.Stack())
		}
	}()
	return h(ctx, d)
}

// settle says to the broker what came of a delivery; stopping is whether this
// service is about to leave.
func (b *Broker) settle(ctx context.Context, w Work, m jetstream.Msg, d *Delivery, err error, stopping bool) {
	switch {
	case err == nil:
		// The double ack tells us that the broker knows; without it a lost ack
		// would only cost a second, idempotent handling. On the way to a server in
		// this process none is lost but with the process, or at its end.
		ack := m.DoubleAck
		if b.server != nil && !stopping {
			ack = func(context.Context) error { return m.Ack() }
		}
		if err := ack(ctx); err != nil {
			w.Log.Warn("broker: acknowledge", "subject", d.Subject, "err", err)
		}
	case isHeld(err):
		h, _ := errors.AsType[held](err)
		_ = m.NakWithDelay(h.d)
	case IsPermanent(err):
		w.Log.Error("broker: message ended", "subject", d.Subject, "err", err)
		_ = m.Term()
	default:
		delay := Backoff(d.Tries)
		if asked, ok := errors.AsType[after](err); ok {
			delay = max(delay, asked.d)
		}
		w.Log.Warn("broker: will try again", "subject", d.Subject, "tries", d.Tries, "delay", delay, "err", err)
		_ = m.NakWithDelay(delay)
	}
}

func isHeld(err error) bool {
	_, ok := errors.AsType[held](err)
	return ok
}

// Backoff returns how long to wait after the given number of tries: 0.25 s
// doubling to one minute, each shortened by up to a half at random, so that
// what failed together does not come back together.
func Backoff(tries int) time.Duration {
	d := 250 * time.Millisecond << min(max(tries-1, 0), 8)
	d = min(d, time.Minute)
	return d/2 + rand.N(d/2) //nolint:gosec // a jitter, not a secret
}

// Idle reports whether every given durable has been given all that its stream
// holds and nothing of it is out. Asked in the order of the data's way, an
// answer of true means that all work begun before the question is done. They
// are asked twice, since a message that has to wait for its turn goes back to the
// stage before (after a while, so that it does not slip through again).
//
// The stream's last sequence is what counts, not the consumer's own number of
// waiting messages: the server updates that one a moment after it has
// acknowledged a publish.
func (b *Broker) Idle(ctx context.Context, work ...Work) (bool, error) {
	if len(work) > 1 {
		work = slices.Concat(work, work)
	}
	for _, w := range work {
		s, err := b.js.Stream(ctx, w.Stream)
		if err != nil {
			return false, fmt.Errorf("broker: stream %s: %w", w.Stream, err)
		}
		c, err := s.Consumer(ctx, w.Durable)
		if errors.Is(err, jetstream.ErrConsumerNotFound) {
			return false, nil
		}
		if err != nil {
			return false, fmt.Errorf("broker: consumer %s: %w", w.Durable, err)
		}
		state, info := s.CachedInfo().State, c.CachedInfo()
		if info.NumAckPending > 0 || state.Msgs > 0 && info.Delivered.Stream != state.LastSeq {
			return false, nil
		}
	}
	return true, nil
}
