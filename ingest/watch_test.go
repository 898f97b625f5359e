package ingest_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"canter.example/ingest"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const settle = 60 * time.Millisecond

// rig is a watcher on a folder with the real embedded broker behind it.
type rig struct {
	t      *testing.T
	dir    string
	broker *broker.Broker
	cancel func()
	done   chan error
	w      *ingest.Watcher
}

func newRig(t *testing.T, dir string, change func(*ingest.Config)) *rig {
	t.Helper()
	b, err := broker.Open(t.Context(), broker.Config{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{t: t, dir: dir, broker: b}
	t.Cleanup(func() { r.stop(); b.Close() })
	r.start(change)
	return r
}

// start starts a watcher; it has the broker for its archive unless told otherwise.
func (r *rig) start(change func(*ingest.Config), archive ...ingest.Archive) {
	cfg := ingest.Config{
		Folders: []ingest.Folder{{Path: r.dir, Squad: "first"}},
		Settle:  settle, Rescan: 200 * time.Millisecond, MaxSize: 1 << 20,
		Log: slog.New(slog.DiscardHandler),
	}
	if change != nil {
		change(&cfg)
	}
	ctx, cancel := context.WithCancel(context.Background())
	r.cancel, r.done = cancel, make(chan error, 1)
	r.w = ingest.New(cfg, append(archive, ingest.Archive(r.broker))[0])
	go func() { r.done <- r.w.Run(ctx) }()
}

func (r *rig) stop() {
	if r.cancel == nil {
		return
	}
	r.cancel()
	if err := <-r.done; err != nil {
		r.t.Errorf("Run: %v", err)
	}
	r.cancel = nil
}

func (r *rig) write(name, content string) {
	r.t.Helper()
	path := filepath.Join(r.dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		r.t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
		r.t.Fatal(err)
	}
}

// archived waits until exactly n files are in the archive, and looks again a
// little later that no more came.
func (r *rig) archived(n int) map[schemas.FileID]bool {
	r.t.Helper()
	var files map[schemas.FileID]bool
	for deadline := time.Now().Add(10 * time.Second); time.Now().Before(deadline); time.Sleep(10 * time.Millisecond) {
		files = r.list()
		if len(files) >= n {
			break
		}
	}
	time.Sleep(3 * settle)
	if files = r.list(); len(files) != n {
		r.t.Fatalf("%d files in the archive, want %d", len(files), n)
	}
	return files
}

func (r *rig) list() map[schemas.FileID]bool {
	a, err := r.broker.Archived(r.t.Context())
	if err != nil {
		r.t.Fatal(err)
	}
	return a.Files
}

func (r *rig) places() int {
	a, err := r.broker.Archived(r.t.Context())
	if err != nil {
		r.t.Fatal(err)
	}
	return len(a.Places)
}

func TestDroppedFilesReachTheArchiveWithTheirOrigin(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	r.write("2026-09-01/AKI.csv", "time,hr\n0,100\n")
	r.write("2026-09-01/deep/er/BEN.csv", "time,hr\n0,101\n")
	r.archived(2)
	f, err := r.broker.File(t.Context(), schemas.NewFileID([]byte("time,hr\n0,100\n")), 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	if f.Origin.Path != "2026-09-01/AKI.csv" || f.Origin.Squad != "first" || f.Origin.Folder != r.dir || f.Origin.Seen.IsZero() {
		t.Errorf("origin %+v", f.Origin)
	}
}

// TestOriginsHaveTheFoldersName: a club that moves keeps its origins true.
func TestOriginsHaveTheFoldersName(t *testing.T) {
	seen := time.Date(2026, 9, 1, 18, 0, 0, 0, time.UTC)
	r := newRig(t, t.TempDir(), func(c *ingest.Config) {
		c.Folders[0].Name = "inbox/first"
		c.Seen = func() time.Time { return seen }
	})
	r.write("2026-09-01/AKI.csv", "time,hr\n0,100\n")
	r.archived(1)
	f, err := r.broker.File(t.Context(), schemas.NewFileID([]byte("time,hr\n0,100\n")), 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	if f.Origin.Folder != "inbox/first" || !f.Origin.Seen.Equal(seen) {
		t.Errorf("origin %+v", f.Origin)
	}
}

func TestASourceFileIsNeverTouched(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	r.write("a.csv", "time,hr\n")
	path := filepath.Join(r.dir, "a.csv")
	before, _ := os.Stat(path)
	r.archived(1)
	after, err := os.Stat(path)
	if err != nil || !after.ModTime().Equal(before.ModTime()) || after.Size() != before.Size() || after.Mode() != before.Mode() {
		t.Errorf("changed: %v, %v", after, err)
	}
}

func TestTheSameBytesTwiceAreOneFileSeenAtTwoPlaces(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	r.write("one.csv", "time,hr\n1,2\n")
	r.archived(1)
	r.write("two.csv", "time,hr\n1,2\n")
	for deadline := time.Now().Add(5 * time.Second); r.places() == 0 && time.Now().Before(deadline); {
		time.Sleep(10 * time.Millisecond)
	}
	r.archived(1)
	if n := r.places(); n != 1 {
		t.Errorf("%d further places, want 1", n)
	}
}

func TestTwoDifferentFilesWithOneNameAreTwoFiles(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	r.write("a.csv", "first")
	r.archived(1)
	r.write("a.csv", "second one")
	r.archived(2)
}

// TestWhatIsOnItsWayIsSaid: from when a file is noticed until the archive has it.
func TestWhatIsOnItsWayIsSaid(t *testing.T) {
	r := newRig(t, t.TempDir(), func(c *ingest.Config) { c.Settle = time.Second })
	coming := func(want bool) {
		t.Helper()
		for deadline := time.Now().Add(10 * time.Second); r.w.Coming() != want; time.Sleep(5 * time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatalf("coming stays %v", !want)
			}
		}
	}
	coming(false)
	r.write("a.csv", "some rates")
	coming(true)
	if len(r.list()) != 0 {
		t.Fatal("the file is in the archive before it has settled")
	}
	coming(false)
	if len(r.list()) != 1 {
		t.Error("nothing is coming, and the archive does not have the file")
	}
}

// slowArchive answers when it is let.
type slowArchive struct {
	ingest.Archive
	answer chan error
}

func (a slowArchive) Archived(ctx context.Context) (broker.Archive, error) {
	select {
	case err := <-a.answer:
		if err != nil {
			return broker.Archive{}, err
		}
		return a.Archive.Archived(ctx)
	case <-ctx.Done():
		return broker.Archive{}, ctx.Err()
	}
}

// TestFoldersAreListedWhileTheArchiveIsAsked: and nothing is published before
// it has said what it has.
func TestFoldersAreListedWhileTheArchiveIsAsked(t *testing.T) {
	dir := t.TempDir()
	r := newRig(t, dir, nil)
	r.stop()
	r.write("a.csv", "some rates")
	for _, c := range []struct {
		what   string
		answer error
		stop   bool
	}{
		{what: "stopped meanwhile", stop: true},
		{what: "the archive fails", answer: errors.New("no answer")},
		{what: "the archive answers"},
	} {
		archive := slowArchive{r.broker, make(chan error)}
		w := ingest.New(ingest.Config{
			Folders: []ingest.Folder{{Path: dir}}, Settle: settle, Rescan: time.Hour, MaxSize: 1 << 20, Log: slog.New(slog.DiscardHandler),
		}, archive)
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- w.Run(ctx) }()
		noticed(t, w, c.what)
		time.Sleep(2 * settle)
		if n := len(r.list()); n != 0 {
			t.Fatalf("%s: %d files in the archive before it was asked", c.what, n)
		}
		switch {
		case c.stop:
			stop()
			if err := <-ended; err != nil {
				t.Errorf("%s: %v", c.what, err)
			}
			continue
		case c.answer != nil:
			archive.answer <- c.answer
			if err := <-ended; !errors.Is(err, c.answer) {
				t.Errorf("%s: %v", c.what, err)
			}
		default:
			archive.answer <- nil
			r.archived(1)
			stop()
			if err := <-ended; err != nil {
				t.Errorf("%s: %v", c.what, err)
			}
		}
		stop()
	}
}

// noticed waits until a watcher knows of a file that it has not taken yet.
func noticed(t *testing.T, w *ingest.Watcher, what string) {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); !w.Coming(); time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%s: the file is not noticed", what)
		}
	}
}

func TestARenamedFileIsSeen(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	r.write("a.csv.part", "time,hr\n5,6\n")
	r.archived(0)
	if err := os.Rename(filepath.Join(r.dir, "a.csv.part"), filepath.Join(r.dir, "a.csv")); err != nil {
		t.Fatal(err)
	}
	r.archived(1)
}

func TestAFileThatIsWrittenSlowlyIsReadOnceAndWhole(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	whole := "<gpx>" + strings.Repeat("<trkpt/>", 10) + "</gpx>"
	path := filepath.Join(r.dir, "slow.gpx")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	half := len(whole) / 2
	_, _ = f.WriteString(whole[:half])
	time.Sleep(3 * settle) // quiet for longer than the settle time, but not whole
	_, _ = f.WriteString(whole[half:])
	_ = f.Close()
	files := r.archived(1)
	if !files[schemas.NewFileID([]byte(whole))] {
		t.Error("the archive does not hold the whole file")
	}
}

func TestAFileThatNeverBecomesWholeIsTakenInTheEnd(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	r.write("broken.gpx", "<gpx><trk>")
	r.archived(1)
}

// TestAFileThatIsNotWholeIsTakenAsItIsAfterALongQueue: it has been as it is for
// all that time, and waits no more when it is its turn.
func TestAFileThatIsNotWholeIsTakenAsItIsAfterALongQueue(t *testing.T) {
	dir := t.TempDir()
	r := newRig(t, dir, nil)
	r.stop()
	r.write("broken.gpx", "<gpx><trk>")
	archive := slowArchive{r.broker, make(chan error)}
	start := time.Now()
	var later atomic.Int64
	w := ingest.New(ingest.Config{
		Folders: []ingest.Folder{{Path: dir}}, Settle: time.Hour, Rescan: 2 * time.Millisecond, MaxSize: 1 << 20,
		Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return start.Add(time.Duration(later.Load())) },
	}, archive)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- w.Run(ctx) }()
	noticed(t, w, "a long queue")
	later.Store(int64(time.Hour)) // it is finished, and waits for its turn
	time.Sleep(100 * time.Millisecond)
	later.Store(int64(11 * time.Hour))
	archive.answer <- nil
	r.archived(1)
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

func TestARestartPublishesNothingTwice(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	for i := range 20 {
		r.write(fmt.Sprintf("%d.csv", i), fmt.Sprint("file ", i))
	}
	r.archived(20)
	r.stop()
	r.write("late.csv", "came while nobody watched")
	r.start(nil)
	r.archived(21)
}

// bare is an archive that has lost what the files hold, until they are published
// again.
type bare struct {
	ingest.Archive
	mu    sync.Mutex
	again []string
}

func (b *bare) Archived(ctx context.Context) (broker.Archive, error) {
	a, err := b.Archive.Archived(ctx)
	a.Bare = maps.Clone(a.Files)
	return a, err
}

func (b *bare) PublishFile(ctx context.Context, f broker.FileMessage) (bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.again = append(b.again, fmt.Sprint(f.Origin.Path, " lost ", f.Lost))
	return b.Archive.PublishFile(ctx, f)
}

func TestARestartPublishesWhatTheArchiveHasLost(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	r.write("AKI.csv", "time,hr\n0,100\n")
	r.archived(1)
	r.stop()
	lost := &bare{Archive: r.broker}
	r.start(func(c *ingest.Config) { c.Rescan = 50 * time.Millisecond }, lost)
	r.write("late.csv", "came later")
	r.archived(2)
	lost.mu.Lock()
	defer lost.mu.Unlock()
	slices.Sort(lost.again)
	if want := []string{"AKI.csv lost true", "late.csv lost false"}; !slices.Equal(lost.again, want) {
		t.Errorf("published %q, want %q, each once", lost.again, want)
	}
}

func TestWithoutEventsTheRescanFindsFiles(t *testing.T) {
	// A folder that comes into being after the start sends no event to anybody.
	dir := filepath.Join(t.TempDir(), "share")
	r := newRig(t, dir, nil)
	if err := r.waitHealth(false); err != nil {
		t.Fatal(err)
	}
	r.write("a.csv", "time,hr\n")
	r.archived(1)
	if err := r.waitHealth(true); err != nil {
		t.Error(err)
	}
}

func (r *rig) waitHealth(want bool) error {
	var err error
	for deadline := time.Now().Add(5 * time.Second); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		if err = r.w.Health(); (err == nil) == want {
			return nil
		}
	}
	return errors.Join(errors.New("health did not become as wanted"), err)
}

func TestOnlyRegularFilesBelowTheFolderAreRead(t *testing.T) {
	outside := filepath.Join(t.TempDir(), "secret.csv")
	if err := os.WriteFile(outside, []byte("not yours"), 0o600); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.Symlink(outside, filepath.Join(dir, "link.csv")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(filepath.Dir(outside), filepath.Join(dir, "linked-folder")); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(filepath.Join(dir, "pipe.csv"), 0o600); err != nil {
		t.Fatal(err)
	}
	r := newRig(t, dir, nil)
	r.write("real.csv", "time,hr\n")
	files := r.archived(1)
	if files[schemas.NewFileID([]byte("not yours"))] {
		t.Error("a link was followed out of the folder")
	}
}

func TestAFileOverTheLimitIsRefusedWithTheReason(t *testing.T) {
	r := newRig(t, t.TempDir(), func(c *ingest.Config) { c.MaxSize = 100 })
	big := strings.Repeat("x", 101)
	r.write("big.csv", big)
	r.archived(1)
	f, err := r.broker.File(t.Context(), schemas.NewFileID([]byte(big)), 1<<20)
	if err != nil || f.Content != nil || !strings.Contains(f.Refused, "101 bytes") {
		t.Errorf("got %+v, %v", f, err)
	}
}

// TestEventsAloneFindWhatComes holds without any listing after the first one:
// the rescan is an hour away.
func TestEventsAloneFindWhatComes(t *testing.T) {
	r := newRig(t, t.TempDir(), func(c *ingest.Config) { c.Rescan = time.Hour })
	r.write("first.csv", "in the folder itself")
	r.archived(1)
	r.write("a/b/c/deep.csv", "in directories made with it")
	r.archived(2)
	r.write("a/b/c/deep.csv", "another content under its name")
	r.archived(3)
	r.write(".sync/hidden.csv", "in a hidden directory")
	r.write("a/b/moved.part", "renamed when it is whole")
	if err := os.Rename(filepath.Join(r.dir, "a/b/moved.part"), filepath.Join(r.dir, "a/moved.csv")); err != nil {
		t.Fatal(err)
	}
	r.archived(4)
	if err := os.RemoveAll(filepath.Join(r.dir, "a")); err != nil {
		t.Fatal(err)
	}
	time.Sleep(2 * settle)
	r.write("a/b/again.csv", "in a directory of an old name")
	r.archived(5)
	elsewhere := filepath.Join(t.TempDir(), "whole")
	if err := os.MkdirAll(filepath.Join(elsewhere, "day"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(elsewhere, "day", "x.csv"), []byte("moved in with its directory"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(elsewhere, filepath.Join(r.dir, "whole")); err != nil {
		t.Fatal(err)
	}
	r.archived(6)
}

// TestAFolderThatGoesAwayWhileFilesAreRead ends nothing, and its files come when
// it is back.
func TestAFolderThatGoesAwayWhileFilesAreRead(t *testing.T) {
	parent := t.TempDir()
	dir, away := filepath.Join(parent, "here"), filepath.Join(parent, "away")
	r := newRig(t, dir, func(c *ingest.Config) { c.Rescan, c.Settle = 3*time.Millisecond, 10*time.Millisecond })
	n := 0
	for range 5 {
		for range 60 {
			n++
			r.write(fmt.Sprint(n, ".csv"), fmt.Sprint("file ", n))
		}
		time.Sleep(15 * time.Millisecond) // some are being read
		if err := os.Rename(dir, away); err != nil {
			t.Fatal(err)
		}
		if err := r.waitHealth(false); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(away, dir); err != nil {
			t.Fatal(err)
		}
	}
	r.archived(n)
}
