package broker

import (
	"context"
	"sync"
	"time"

	"canter.example/schemas"
)

// A file that is found and scored by one process goes through the archive of the
// embedded broker like any other, and is worked on when the broker delivers it.
// Its bytes need not be unpacked and hashed again then: they are kept in memory
// from the one to the other. That is bounded; whoever finds files waits a little
// for whoever scores them, so that what is delivered next is at hand here and in
// the broker's own memory.

const (
	// handoverMost bounds the bytes that are kept.
	handoverMost = 8 << 20
	// handoverWait is how long a file waits for room.
	handoverWait = 200 * time.Millisecond
	// handoverOld is when a file makes room for others: it was delivered to
	// another process, say. For so long nobody waits for room when none came
	// before: what is in the way may be such files, or the scorer has to wait for
	// its history, for days perhaps, and the archive takes files meanwhile.
	handoverOld = 10 * time.Second
)

// handover keeps files between their publishing and their delivery.
type handover struct {
	mu     sync.Mutex
	files  map[schemas.FileID]handedOver
	order  []schemas.FileID // by time; those taken are still in it
	bytes  int
	inVain time.Time     // when somebody last waited for room and none came
	taken  chan struct{} // closed, and made anew, when there is more room
}

type handedOver struct {
	room *[]byte
	at   time.Time
}

// give keeps a copy of a file's content, if there is or comes to be room for it.
func (h *handover) give(ctx context.Context, id schemas.FileID, content []byte) {
	if len(content) > roomMost || !h.room(ctx, len(content)) {
		return
	}
	room, _ := rooms.Get().(*[]byte)
	*room = append((*room)[:0], content...)
	h.mu.Lock()
	defer h.mu.Unlock()
	if _, twice := h.files[id]; twice || h.bytes+len(content) > handoverMost {
		rooms.Put(room)
		return
	}
	h.files[id] = handedOver{room: room, at: time.Now()}
	h.order = append(h.order, id)
	h.bytes += len(content)
}

// room waits until there is room for size bytes, and reports whether there is.
func (h *handover) room(ctx context.Context, size int) bool {
	var end <-chan time.Time
	for {
		h.mu.Lock()
		now := time.Now()
		h.tidy(now)
		fits, hopeless, taken := h.bytes+size <= handoverMost, now.Sub(h.inVain) < handoverOld, h.taken
		h.mu.Unlock()
		if fits || hopeless {
			return fits
		}
		if end == nil {
			timer := time.NewTimer(handoverWait)
			defer timer.Stop()
			end = timer.C
		}
		select {
		case <-taken:
		case <-end:
			h.mu.Lock()
			h.inVain = time.Now()
			h.mu.Unlock()
			return false
		case <-ctx.Done():
			return false
		}
	}
}

// tidy lets go of files that nobody came for.
func (h *handover) tidy(now time.Time) {
	for len(h.order) > 0 {
		f, there := h.files[h.order[0]]
		if there && now.Sub(f.at) < handoverOld {
			return
		}
		if there {
			h.remove(h.order[0], f)
			rooms.Put(f.room)
		}
		h.order = h.order[1:]
	}
}

// take returns a file's content, nil when it is not kept. It is the caller's then.
func (h *handover) take(id schemas.FileID) *[]byte {
	h.mu.Lock()
	defer h.mu.Unlock()
	f, there := h.files[id]
	if !there {
		return nil
	}
	h.remove(id, f)
	return f.room
}

// drop lets go of a file that was not published.
func (h *handover) drop(id schemas.FileID) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if f, there := h.files[id]; there {
		h.remove(id, f)
		rooms.Put(f.room)
	}
}

func (h *handover) remove(id schemas.FileID, f handedOver) {
	delete(h.files, id)
	h.bytes -= len(*f.room)
	close(h.taken)
	h.taken = make(chan struct{})
}

func newHandover() *handover {
	return &handover{files: map[schemas.FileID]handedOver{}, taken: make(chan struct{})}
}
