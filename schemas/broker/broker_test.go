package broker_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/broker/brokertest"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const limit = 32 << 20

// each runs a test against the embedded server and against Debian's.
func each(t *testing.T, f func(t *testing.T, b *broker.Broker)) {
	t.Run("embedded", func(t *testing.T) {
		b, err := broker.Open(t.Context(), broker.Config{Dir: t.TempDir()})
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		f(t, b)
	})
	t.Run("external", func(t *testing.T) {
		b, err := broker.Open(t.Context(), broker.Config{URL: brokertest.NATS(t)})
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		f(t, b)
	})
}

func fileOf(content string) broker.FileMessage {
	return broker.FileMessage{
		ID: schemas.NewFileID([]byte(content)), Content: []byte(content), Size: int64(len(content)),
		Origin: schemas.Origin{Folder: "/in", Path: "a b/é\n<x>.fit", Squad: "first", Seen: time.Unix(5, 0).UTC()},
	}
}

func TestAFileIsStoredOnceAndReadBackWhole(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		f := fileOf("some heart rates")
		known, err := b.PublishFile(t.Context(), f)
		if err != nil || known {
			t.Fatalf("first publish: known %v, err %v", known, err)
		}
		other := f
		other.Origin.Path = "elsewhere"
		known, err = b.PublishFile(t.Context(), other)
		if err != nil || !known {
			t.Fatalf("second publish: known %v, err %v; want known", known, err)
		}
		got, err := b.File(t.Context(), f.ID, limit)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(f, got, cmpopts.IgnoreUnexported(broker.FileMessage{})); d != "" {
			t.Errorf("read back (-want +got):\n%s", d)
		}
		a, err := b.Archived(t.Context())
		if err != nil || !a.Files[f.ID] || len(a.Files) != 1 || len(a.Known) != 0 {
			t.Errorf("archive lists %v, err %v", a, err)
		}
		at := time.Date(2026, 9, 1, 10, 0, 0, 123456789, time.UTC)
		for _, modified := range []time.Time{at, at.Add(time.Minute), at.Add(-time.Minute)} {
			if err := b.Remember(t.Context(), f.ID, modified); err != nil {
				t.Fatal(err)
			}
		}
		a, err = b.Archived(t.Context())
		if got := a.Known[f.ID]; err != nil || !got.Equal(at.Add(time.Minute).Truncate(time.Millisecond)) {
			t.Errorf("last modified %v, err %v", got, err)
		}
		if a.Note(f.ID, at) || !a.Note(f.ID, at.Add(time.Hour)) || !a.Note("other", at) {
			t.Error("what is news and what is not")
		}
		if _, err := b.File(t.Context(), schemas.NewFileID([]byte("never")), limit); !errors.Is(err, broker.ErrNoFile) {
			t.Errorf("unknown file: %v, want ErrNoFile", err)
		}
		if _, err := b.File(t.Context(), f.ID, 3); !errors.Is(err, broker.ErrMessage) {
			t.Errorf("over the limit: %v, want ErrMessage", err)
		}
	})
}

// TestAFileIsTheSameOnEveryWayToItsScorer: handed over in memory by whoever
// published it beside the scorer, or unpacked from what the broker delivers.
func TestAFileIsTheSameOnEveryWayToItsScorer(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		early, late := fileOf("published before anybody scores"), fileOf("and after")
		again := make(chan broker.FileMessage, 10)
		publish := func(f broker.FileMessage) {
			t.Helper()
			if known, err := b.PublishFile(t.Context(), f); err != nil || known {
				t.Fatalf("publish: known %v, err %v", known, err)
			}
		}
		publish(early)
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() {
			done <- b.Consume(ctx, broker.Work{Stream: schemas.StreamInput, Durable: "scorer", Workers: 1, Log: slog.New(slog.DiscardHandler)},
				func(ctx context.Context, d *broker.Delivery) error {
					for range 2 { // as after a failure: what was handed over is gone then
						f, err := b.FileOf(ctx, d, limit)
						if err != nil {
							return broker.Permanent(err)
						}
						f.Content = bytes.Clone(f.Content)
						again <- f
					}
					return nil
				})
		}()
		same := func(want broker.FileMessage) {
			t.Helper()
			for range 2 {
				if d := cmp.Diff(want, <-again, cmpopts.IgnoreUnexported(broker.FileMessage{})); d != "" {
					t.Errorf("as it comes to the scorer (-want +got):\n%s", d)
				}
			}
		}
		same(early)
		publish(late)
		same(late)
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

// A power loss may take a file's content and leave the word of it.
func TestContentThatWasLostComesBackFromTheFolder(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		f, whole := fileOf("heart rates that get lost"), fileOf("heart rates that stay")
		refused := broker.FileMessage{ID: schemas.NewFileID([]byte("much")), Refused: "too large"}
		for _, m := range []broker.FileMessage{f, whole, refused} {
			if _, err := b.PublishFile(t.Context(), m); err != nil {
				t.Fatal(err)
			}
		}
		bare := func(want ...schemas.FileID) {
			t.Helper()
			a, err := b.Archived(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(map[schemas.FileID]bool{f.ID: true, whole.ID: true, refused.ID: true}, a.Files); d != "" {
				t.Errorf("files (-want +got):\n%s", d)
			}
			for _, id := range want {
				if !a.Bare[id] {
					t.Errorf("%s has its content, it seems", id.Short())
				}
			}
			if len(a.Bare) != len(want) {
				t.Errorf("%d are bare, want %d", len(a.Bare), len(want))
			}
		}
		bare(refused.ID)
		if err := b.LoseContent(t.Context(), f.ID); err != nil {
			t.Fatal(err)
		}
		bare(refused.ID, f.ID)
		if _, err := b.File(t.Context(), f.ID, limit); !errors.Is(err, broker.ErrNoFile) {
			t.Errorf("read without its content: %v", err)
		}
		for i, m := range []broker.FileMessage{f, whole, refused, f} {
			m.Lost = i == 0 || i == 2 // as the archive's list said
			if known, err := b.PublishFile(t.Context(), m); err != nil || !known {
				t.Errorf("publish %d again: known %v, err %v", i, known, err)
			}
		}
		bare(refused.ID)
		if got, err := b.File(t.Context(), f.ID, limit); err != nil || !bytes.Equal(got.Content, f.Content) {
			t.Errorf("read back %q, %v", got.Content, err)
		}
		var asked []string
		work := broker.Work{Stream: schemas.StreamInput, Durable: "s", Filter: schemas.SubjectRescore + "*", Workers: 1, Log: slog.New(slog.DiscardHandler)}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() {
			done <- b.Consume(ctx, work, func(_ context.Context, d *broker.Delivery) error {
				asked = append(asked, d.Subject)
				return nil
			})
		}()
		for depth := (broker.Depth{Waiting: 1}); depth.Waiting+depth.InHand > 0; time.Sleep(10 * time.Millisecond) {
			var err error
			if depth, err = b.Depth(t.Context(), work); err != nil {
				t.Fatal(err)
			}
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if d := cmp.Diff([]string{schemas.SubjectRescore + string(f.ID)}, asked); d != "" {
			t.Errorf("asked to be scored once more (-want +got):\n%s", d)
		}
	})
}

// TestAnArchiveOfTheOldFormIsRead: until November 2026 the content lay with the
// word of the file.
func TestAnArchiveOfTheOldFormIsRead(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		f := fileOf("old heart rates")
		f.Origin.Path = "old.fit"
		if err := b.PublishOldForm(t.Context(), f); err != nil {
			t.Fatal(err)
		}
		if got, err := b.File(t.Context(), f.ID, limit); err != nil || !bytes.Equal(got.Content, f.Content) || got.Origin.Path != "old.fit" {
			t.Errorf("read back %q from %q, %v", got.Content, got.Origin.Path, err)
		}
		work := broker.Work{Stream: schemas.StreamInput, Durable: "s", Workers: 1, Log: slog.New(slog.DiscardHandler)}
		got := make(chan string, 1)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() {
			done <- b.Consume(ctx, work, func(ctx context.Context, d *broker.Delivery) error {
				m, err := b.FileOf(ctx, d, limit)
				got <- string(m.Content)
				return err
			})
		}()
		if g := <-got; g != string(f.Content) {
			t.Errorf("delivered %q", g)
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if n, err := b.DeleteFile(t.Context(), f.ID); err != nil || n != 1 {
			t.Errorf("deleted %d messages, %v", n, err)
		}
	})
}

// A command that joins, such as the restore of an old backup, finds an embedded
// broker from before a stream was added.
func TestAnOldEmbeddedBrokerIsJoined(t *testing.T) {
	dir := t.TempDir()
	old, err := broker.Open(t.Context(), broker.Config{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	f := fileOf("old heart rates")
	f.Origin.Path = "old.fit"
	err = errors.Join(old.PublishOldForm(t.Context(), f), old.DropContent(t.Context()))
	old.Close()
	if err != nil {
		t.Fatal(err)
	}
	b, err := broker.Open(t.Context(), broker.Config{Dir: dir, Join: true})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if got, err := b.File(t.Context(), f.ID, limit); err != nil || !bytes.Equal(got.Content, f.Content) {
		t.Errorf("read back %q, %v", got.Content, err)
	}
}

func TestAFileTooLargeForOneMessageIsSaidSo(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		noise := make([]byte, 9<<20) // noise does not compress
		_, _ = rand.Read(noise)
		f := broker.FileMessage{ID: schemas.NewFileID(noise), Content: noise, Size: int64(len(noise))}
		if _, err := b.PublishFile(t.Context(), f); !errors.Is(err, broker.ErrTooLarge) {
			t.Fatalf("got %v, want ErrTooLarge", err)
		}
		content := f.Content
		f.Content, f.Refused = nil, "too\nlarge"
		if _, err := b.PublishFile(t.Context(), f); err != nil {
			t.Fatal(err)
		}
		got, err := b.File(t.Context(), f.ID, limit)
		if err != nil || got.Refused != "too large" || got.Content != nil {
			t.Errorf("got %+v, %v", got, err)
		}
		// A limit was raised since, and the content found room.
		f.Content, f.Refused = content[:1<<20], ""
		f.Size, f.ID = int64(len(f.Content)), schemas.NewFileID(f.Content)
		refused := f
		refused.Content, refused.Refused = nil, "too large"
		for i, m := range []broker.FileMessage{refused, f} {
			if known, err := b.PublishFile(t.Context(), m); err != nil || known != (i == 1) {
				t.Fatalf("publish %d: known %v, %v", i, known, err)
			}
		}
		got, err = b.File(t.Context(), f.ID, limit)
		if err != nil || got.Refused != "" || !bytes.Equal(got.Content, f.Content) {
			t.Errorf("with its content it is refused for %q, %d bytes, %v", got.Refused, len(got.Content), err)
		}
		if got, err = b.File(t.Context(), f.ID, 1000); err != nil || got.Refused != "too large" {
			t.Errorf("over the limit of whoever reads it: %q, %v", got.Refused, err)
		}
	})
}

func TestAnEventIsSupersededByALaterOneOfItsSubject(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		work := broker.Work{Stream: schemas.StreamInput, Durable: "s", Workers: 1, Log: slog.New(slog.DiscardHandler)}
		for _, file := range []string{"a", "b", "a"} {
			if err := b.Publish(t.Context(), schemas.SubjectRescore+file, "", schemas.RescoreEvent{File: schemas.FileID(file)}); err != nil {
				t.Fatal(err)
			}
		}
		var got []bool
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() {
			done <- b.Consume(ctx, work, func(ctx context.Context, d *broker.Delivery) error {
				is, err := b.Superseded(ctx, d)
				got = append(got, is)
				return err
			})
		}()
		waitIdle(t, b, work)
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if d := cmp.Diff([]bool{true, false, false}, got); d != "" {
			t.Errorf("superseded (-want +got):\n%s", d)
		}
	})
}

func TestAnEventThatHoldsForGoodIsStoredOnce(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		subject := schemas.SubjectOrigin + "f1." + schemas.PathToken(schemas.Origin{Path: "x"})
		for i, want := range []bool{false, true} {
			known, err := b.PublishOnce(t.Context(), subject, schemas.OriginEvent{File: "f1"})
			if err != nil || known != want {
				t.Errorf("publish %d: known %v, err %v", i, known, err)
			}
		}
	})
}

// TestEveryDeliveryIsSettledByWhatItsHandlerReturned: done once, failed until
// it works, panicked and retried, ended for good.
func TestEveryDeliveryIsSettledByWhatItsHandlerReturned(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		work := broker.Work{Stream: schemas.StreamTests, Durable: "t", Workers: 3, Log: slog.New(slog.DiscardHandler)}
		for _, id := range []string{"fine", "fails-twice", "panics-once", "hopeless"} {
			if err := b.Publish(t.Context(), schemas.SubjectParked+id, id, schemas.ParkedEvent{}); err != nil {
				t.Fatal(err)
			}
		}
		var mu sync.Mutex
		tries := map[string]int{}
		var versions []schemas.Version
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() {
			done <- b.Consume(ctx, work, func(_ context.Context, d *broker.Delivery) error {
				mu.Lock()
				defer mu.Unlock()
				id := d.Subject[len(schemas.SubjectParked):]
				tries[id]++
				if tries[id] != d.Tries {
					t.Errorf("%s: delivery says try %d, it is %d", id, d.Tries, tries[id])
				}
				versions = append(versions, d.Version)
				switch {
				case id == "fails-twice" && tries[id] <= 2:
					return errors.New("not now")
				case id == "panics-once" && tries[id] == 1:
					panic("boom")
				case id == "hopeless":
					return broker.Permanent(errors.New("never"))
				}
				return nil
			})
		}()
		waitIdle(t, b, work)
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Consume: %v", err)
		}
		want := map[string]int{"fine": 1, "fails-twice": 3, "panics-once": 2, "hopeless": 1}
		if d := cmp.Diff(want, tries); d != "" {
			t.Errorf("tries (-want +got):\n%s", d)
		}
		for _, v := range versions {
			if v == 0 {
				t.Error("a delivery had no version")
			}
		}
	})
}

func TestOneAtATimeHoldsAmongConsumersAndOrderIsKept(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		work := broker.Work{Stream: schemas.StreamChat, Durable: "c", Workers: 4, OneAtATime: true, Log: slog.New(slog.DiscardHandler)}
		const n = 20
		for i := range n {
			id := string(rune('a' + i))
			if err := b.Publish(t.Context(), schemas.SubjectChat+id, id, schemas.ChatEvent{Message: id}); err != nil {
				t.Fatal(err)
			}
		}
		var out, most atomic.Int32
		var mu sync.Mutex
		var order []byte
		ctx, cancel := context.WithCancel(t.Context())
		var wg sync.WaitGroup
		for range 2 {
			wg.Go(func() {
				if err := b.Consume(ctx, work, func(_ context.Context, d *broker.Delivery) error {
					most.Store(max(most.Load(), out.Add(1)))
					defer out.Add(-1)
					time.Sleep(time.Millisecond)
					mu.Lock()
					defer mu.Unlock()
					order = append(order, d.Subject[len(schemas.SubjectChat)])
					return nil
				}); err != nil {
					t.Error(err)
				}
			})
		}
		waitIdle(t, b, work)
		cancel()
		wg.Wait()
		if most.Load() != 1 {
			t.Errorf("%d deliveries were out at once", most.Load())
		}
		if want := []byte("abcdefghijklmnopqrst"); !bytes.Equal(order, want) {
			t.Errorf("order %s, want %s", order, want)
		}
	})
}

// TestStoppingGivesBackWhatWasNotBegun: another consumer gets it at once, not
// after the acknowledgement's time.
func TestStoppingGivesBackWhatWasNotBegun(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		work := broker.Work{Stream: schemas.StreamTests, Durable: "s", Workers: 1, Log: slog.New(slog.DiscardHandler)}
		for _, id := range []string{"a", "b", "c", "d"} {
			if err := b.Publish(t.Context(), schemas.SubjectParked+id, id, schemas.ParkedEvent{}); err != nil {
				t.Fatal(err)
			}
		}
		ctx, cancel := context.WithCancel(t.Context())
		var first atomic.Int32
		if err := b.Consume(ctx, work, func(_ context.Context, _ *broker.Delivery) error {
			first.Add(1)
			cancel() // told to stop while working: this one is finished, no other begun
			time.Sleep(50 * time.Millisecond)
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		if first.Load() != 1 {
			t.Errorf("%d were handled after the stop, want 1", first.Load())
		}
		ctx, cancel = context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		var second atomic.Int32
		if err := b.Consume(ctx, work, func(_ context.Context, _ *broker.Delivery) error {
			if second.Add(1) == 3 {
				cancel()
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		if second.Load() != 3 {
			t.Errorf("%d came back within 10 s, want 3", second.Load())
		}
	})
}

func TestADataFolderBelongsToOneProcess(t *testing.T) {
	dir := t.TempDir()
	if _, running := broker.Running(dir); running {
		t.Error("nobody runs there yet")
	}
	b, err := broker.Open(t.Context(), broker.Config{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	addr, running := broker.Running(dir)
	if !running || addr.Token == "" {
		t.Errorf("Running: %+v %v", addr, running)
	}
	if _, err := broker.Open(t.Context(), broker.Config{Dir: dir}); !errors.Is(err, broker.ErrInUse) {
		t.Errorf("second open: %v, want ErrInUse", err)
	}
	if _, err := broker.Open(t.Context(), broker.Config{URL: addr.URL}); err == nil {
		t.Error("the embedded broker let somebody in without its token")
	}
	other, err := broker.Open(t.Context(), broker.Config{URL: addr.URL, Token: addr.Token})
	if err != nil {
		t.Fatalf("with the token: %v", err)
	}
	other.Close()
	b.Close()
	if _, running := broker.Running(dir); running {
		t.Error("still said to run after Close")
	}
}

func TestVersionsGrowAcrossAStreamMadeAnew(t *testing.T) {
	old := schemas.NewVersion(time.Unix(1_700_000_000, 0), 1<<31-1)
	anew := schemas.NewVersion(time.Unix(1_700_000_001, 0), 1)
	if anew <= old {
		t.Errorf("%d does not outrank %d", anew, old)
	}
}

func waitIdle(t *testing.T, b *broker.Broker, w broker.Work) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(10 * time.Millisecond) {
		idle, err := b.Idle(t.Context(), w)
		if err != nil {
			t.Fatal(err)
		}
		if idle {
			return
		}
	}
	t.Fatal("work was not done in 20 s")
}
