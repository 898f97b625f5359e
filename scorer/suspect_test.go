package scorer_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"canter.example/scorer"
)

// refusing is a history that does not take some results.
type refusing struct {
	history.Store
	refuse func(r *history.FileResult) error
}

func (h *refusing) SaveResult(ctx context.Context, r history.FileResult) error {
	if err := h.refuse(&r); err != nil {
		return err
	}
	return h.Store.SaveResult(ctx, r)
}

// stuck is a rig whose history refuses, and the delivery of a file that keeps
// coming back.
func stuck(t *testing.T, refuse func(r *history.FileResult) error) (*rig, *broker.Delivery, schemas.FileID) {
	t.Helper()
	r := newRig(t)
	id := r.drop("AKF.csv", run("", planned, 160))
	r.s = scorer.New(scorer.Config{Club: r.club, Decode: decode, Log: slog.New(slog.DiscardHandler), Pause: time.Millisecond}, r, &refusing{r.history, refuse})
	return r, r.delivery(schemas.SubjectRescore+string(id), schemas.RescoreEvent{File: id, Cause: "again"}), id
}

var errDown = errors.New("no connection")

func TestWhatHistoryWillNotTakeIsParkedInTheEnd(t *testing.T) {
	r, d, id := stuck(t, func(r *history.FileResult) error {
		if r.File.State == schemas.FileParked {
			return nil
		}
		return errDown
	})
	for ; d.Tries < 8; d.Tries++ {
		if err := r.s.Handle(t.Context(), d); !errors.Is(err, errDown) {
			t.Fatalf("try %d: %v", d.Tries, err)
		}
		r.state(id, schemas.FileScored)
	}
	if err := r.s.Handle(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	if reason := r.state(id, schemas.FileParked); !strings.Contains(reason, "after 8 tries") || !strings.Contains(reason, "no connection") {
		t.Errorf("reason %q", reason)
	}
}

func TestAHistoryThatIsDownParksNothing(t *testing.T) {
	down := true
	r, d, id := stuck(t, func(*history.FileResult) error {
		if down {
			return errDown
		}
		return nil
	})
	for ; d.Tries < 50; d.Tries++ {
		if err := r.s.Handle(t.Context(), d); !errors.Is(err, errDown) {
			t.Fatalf("try %d: %v", d.Tries, err)
		}
	}
	down = false
	if err := r.s.Handle(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	r.state(id, schemas.FileScored)
}

func TestAHistoryThatComesBackAtTheLastMomentParksNothing(t *testing.T) {
	fails := 0
	r, d, id := stuck(t, func(*history.FileResult) error {
		if fails++; fails <= 2 { // a pooled connection from before, twice
			return errDown
		}
		return nil
	})
	d.Tries = 30
	if err := r.s.Handle(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	r.state(id, schemas.FileScored)
}

// A file whose content a power loss took must not hold up others for good.
func TestAFileWithoutItsContentIsParkedInTheEnd(t *testing.T) {
	r := newRig(t)
	r.s = scorer.New(scorer.Config{Club: r.club, Decode: decode, Log: slog.New(slog.DiscardHandler), Pause: time.Millisecond}, r, r.history)
	d := r.publish("AKF.csv", run("", planned, 160))
	id := schemas.FileID(strings.TrimPrefix(d.Subject, schemas.SubjectFile))
	r.lost = true
	for ; d.Tries < 8; d.Tries++ {
		if err := r.s.Handle(t.Context(), d); !errors.Is(err, broker.ErrNoFile) {
			t.Fatalf("try %d: %v", d.Tries, err)
		}
	}
	if err := r.s.Handle(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	if reason := r.state(id, schemas.FileParked); !strings.Contains(reason, "not in the broker's archive") || !strings.Contains(reason, "in its folder") {
		t.Errorf("reason %q", reason)
	}
	if f := r.file(id); f.Origin.Path != "AKF.csv" {
		t.Errorf("parked without its place: %+v", f.Origin)
	}
	r.lost = false // its ingest was started again
	r.handle(r.delivery(schemas.SubjectRescore+string(id), schemas.RescoreEvent{File: id, Cause: "its content was missing in the archive"}))
	r.state(id, schemas.FileScored)
}

func TestAResultThatIsInvalidIsParkedAtOnce(t *testing.T) {
	r, d, id := stuck(t, func(r *history.FileResult) error {
		if r.File.State == schemas.FileParked {
			return nil
		}
		return fmt.Errorf("a number out of range: %w", history.ErrInvalid)
	})
	if err := r.s.Handle(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	r.state(id, schemas.FileParked)
}

// beScorer makes the test binary a scorer that dies on poison.
const beScorer = "CANTER_TEST_BE_SCORER"

// setting is what that scorer needs to know.
type setting struct{ URL, Token, History string }

const poison = "poison"

// scoreUntilKilled is a scorer process whose decoder ends the process on poison,
// as a runtime that is out of memory does.
func scoreUntilKilled() {
	var set setting
	must := func(err error) {
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	must(json.Unmarshal([]byte(os.Getenv(beScorer)), &set))
	ctx := context.Background()
	b, err := broker.Open(ctx, broker.Config{URL: set.URL, Token: set.Token, AckWait: time.Second})
	must(err)
	h, err := history.Open(ctx, set.History)
	must(err)
	c, err := club.Parse("club.yaml", []byte(clubYAML))
	must(err)
	dies := func(name string, content []byte, zone *time.Location, date time.Time) ([]schemas.Trace, string, error) {
		if bytes.Contains(content, []byte(poison)) {
			os.Exit(137)
		}
		return decode(name, content, zone, date)
	}
	must(scorer.New(scorer.Config{Club: c, Decode: dies, Workers: 4, Log: slog.New(slog.NewTextHandler(os.Stderr, nil))}, b, h).Run(ctx))
}

// TestAFileThatEndsTheProcessIsParked: the others are handled all the same.
func TestAFileThatEndsTheProcessIsParked(t *testing.T) {
	dir := t.TempDir()
	b, err := broker.Open(t.Context(), broker.Config{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Close)
	address := filepath.Join(dir, "history.db")
	h, err := history.Open(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.Close() })
	addr, running := broker.Running(dir)
	if !running {
		t.Fatal("the broker does not run")
	}
	publish := func(path string, c content) schemas.FileID {
		body, err := json.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		m := broker.FileMessage{ID: schemas.NewFileID(body), Content: body, Size: int64(len(body)), Origin: schemas.Origin{Path: path, Squad: "first", Seen: planned}}
		if _, err := b.PublishFile(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		return m.ID
	}
	good := map[schemas.FileID]bool{}
	for i := range 6 {
		good[publish("AKF.csv", run("AKF", planned.AddDate(0, 0, 7*i), 160))] = true
	}
	bad := publish("AKF.csv", content{Who: poison, Begins: planned})
	for i := range 6 {
		good[publish("AKF.csv", run("AKF", planned.AddDate(0, 0, 7*(6+i)), 160))] = true
	}
	set, err := json.Marshal(setting{addr.URL, addr.Token, address})
	if err != nil {
		t.Fatal(err)
	}
	deaths := 0
	for deadline := time.Now().Add(2 * time.Minute); ; deaths++ {
		if time.Now().After(deadline) {
			t.Fatalf("after %d ends of the process the file is not parked", deaths)
		}
		log := &bytes.Buffer{}
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), beScorer+"="+string(set))
		cmd.Stderr = log
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		if died := waitFor(h, bad, len(good)+1, ended); !died {
			_ = cmd.Process.Kill()
			<-ended
			break
		}
		if cmd.ProcessState.ExitCode() != 137 {
			t.Fatalf("the scorer ended with %s:\n%s", cmd.ProcessState, log)
		}
	}
	f, _, err := h.File(t.Context(), bad)
	if err != nil || f.State != schemas.FileParked || !strings.Contains(f.Reason, "in a row while it worked on this file") {
		t.Errorf("%v; file %+v", err, f)
	}
	files, err := h.Files(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if good[f.ID] && f.State != schemas.FileScored {
			t.Errorf("%s is %s: %s", f.ID.Short(), f.State, f.Reason)
		}
		delete(good, f.ID)
	}
	if len(good) > 0 {
		t.Errorf("%d of the others are not handled", len(good))
	}
	if deaths < 5 || deaths > 7 {
		t.Errorf("the process ended %d times", deaths)
	}
}

// waitFor waits until the file is in history and so many are in all, or the
// process has ended. A file that never comes is the caller's to find.
func waitFor(h history.Store, id schemas.FileID, all int, ended <-chan error) (died bool) {
	deadline := time.Now().Add(time.Minute)
	for {
		select {
		case <-ended:
			return true
		case <-time.After(20 * time.Millisecond):
		}
		if _, there, err := h.File(context.Background(), id); err != nil || !there {
			continue
		}
		if files, err := h.Files(context.Background(), ""); err == nil && len(files) >= all || time.Now().After(deadline) {
			return false
		}
	}
}
