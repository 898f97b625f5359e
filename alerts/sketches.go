package alerts

import (
	"context"
	"sync"

	"canter.example/alerts/chat"
	"canter.example/schemas"
)

// Messages leave one at a time among all processes, so that what each takes is
// taken from all that wait. Drawing takes longer than all else: it is done
// ahead, beside the sending, from when a message is in the outbox.

// aheadMost bounds the pictures that wait for their messages; what is beyond is
// drawn when it is sent.
const aheadMost = 64

// sketches are pictures drawn ahead, by message. The zero value draws nothing.
type sketches struct {
	mu    sync.Mutex
	queue chan schemas.Message // nil while nobody draws
	drawn map[string]*sketch
	count int
}

type sketch struct {
	number   int
	done     chan struct{}
	ok       bool // set before done is closed
	pictures []chat.Picture
}

func (d *sketch) ready() bool {
	select {
	case <-d.done:
		return true
	default:
		return false
	}
}

// order asks for a message's pictures, if somebody draws and has time.
func (k *sketches) order(m schemas.Message) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.queue == nil || k.drawn[m.ID] != nil || len(k.drawn) >= aheadMost && !k.drop() {
		return
	}
	select {
	case k.queue <- m:
		k.count++
		k.drawn[m.ID] = &sketch{number: k.count, done: make(chan struct{})}
	default:
	}
}

// drop lets the oldest drawn go: another process has sent it by now.
func (k *sketches) drop() bool {
	oldest := ""
	for id, d := range k.drawn {
		if d.ready() && (oldest == "" || d.number < k.drawn[oldest].number) {
			oldest = id
		}
	}
	delete(k.drawn, oldest)
	return oldest != ""
}

// take returns a message's pictures when they were asked for, once, waiting for
// whoever draws them.
func (k *sketches) take(ctx context.Context, id string) ([]chat.Picture, bool) {
	k.mu.Lock()
	d := k.drawn[id]
	k.mu.Unlock()
	if d == nil {
		return nil, false
	}
	select {
	case <-d.done:
	case <-ctx.Done():
		return nil, false
	}
	k.mu.Lock()
	delete(k.drawn, id)
	k.mu.Unlock()
	return d.pictures, d.ok
}

// run draws what is asked for until ctx ends.
func (k *sketches) run(ctx context.Context, draw func(context.Context, *schemas.Message) []chat.Picture) {
	queue := make(chan schemas.Message, aheadMost)
	k.mu.Lock()
	k.queue, k.drawn = queue, map[string]*sketch{}
	k.mu.Unlock()
	defer k.end()
	for {
		select {
		case m := <-queue:
			k.mu.Lock()
			d := k.drawn[m.ID]
			k.mu.Unlock()
			d.pictures, d.ok = draw(ctx, &m), ctx.Err() == nil
			close(d.done)
		case <-ctx.Done():
			return
		}
	}
}

// end lets go of what was not drawn: whoever sends it draws it.
func (k *sketches) end() {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, d := range k.drawn {
		if !d.ready() {
			close(d.done)
		}
	}
	k.queue, k.drawn = nil, nil
}
