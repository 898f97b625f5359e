package main

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"canter.example/cmd/canter/season"
	"canter.example/schemas/broker/brokertest"
	"canter.example/schemas/history"
)

// process is a canter process of its own.
type process struct {
	t    *testing.T
	cmd  *exec.Cmd
	out  *lockedBuffer
	log  *lockedBuffer
	http string
	// ended is closed when the process is gone; err says how.
	ended chan struct{}
	err   error
}

// lockedBuffer can be read while a process writes to it.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// serve starts canter serve and waits until it is ready.
func serve(t *testing.T, args ...string) *process {
	t.Helper()
	p := launch(t, args...)
	p.eventually("ready", func() bool { return p.get("/readyz") == http.StatusOK })
	return p
}

// launch starts canter serve and does not wait: several come up together.
func launch(t *testing.T, args ...string) *process {
	t.Helper()
	p := &process{t: t, out: &lockedBuffer{}, log: &lockedBuffer{}, ended: make(chan struct{})}
	p.http = fmt.Sprintf("127.0.0.1:%d", brokertest.FreePort(t))
	if !slices.Contains(args, "--page") {
		args = append(slices.Clone(args), "--page", "off")
	}
	if !slices.Contains(args, "--data") { // or one run would leave things behind for the next
		args = append(slices.Clone(args), "--data", t.TempDir())
	}
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p.cmd = exec.Command(exe, append([]string{"serve", "--http", p.http}, args...)...)
	p.cmd.Env = append(os.Environ(), beCanter+"=1")
	p.cmd.Stdout, p.cmd.Stderr = p.out, p.log
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		p.err = p.cmd.Wait()
		close(p.ended)
	}()
	t.Cleanup(func() {
		p.kill()
		if t.Failed() {
			t.Logf("log of %v:\n%s", args, tail(p.log.String(), 60))
		}
	})
	return p
}

func tail(s string, lines int) string {
	all := strings.Split(s, "\n")
	return strings.Join(all[max(0, len(all)-lines):], "\n")
}

func (p *process) get(path string) int {
	code, _ := p.page(path)
	return code
}

// page returns a page of the health server; code 0 when it does not answer.
func (p *process) page(path string) (code int, body string) {
	c := http.Client{Timeout: 2 * time.Second}
	r, err := c.Get("http://" + p.http + path)
	if err != nil {
		return 0, ""
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		return 0, ""
	}
	return r.StatusCode, string(b)
}

// stop sends SIGTERM and wants a clean end.
func (p *process) stop() {
	p.t.Helper()
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		p.t.Fatal(err)
	}
	select {
	case <-p.ended:
	case <-time.After(30 * time.Second):
		p.t.Fatalf("still there 30 s after SIGTERM\n%s", tail(p.log.String(), 30))
	}
	if p.err != nil {
		p.t.Errorf("after SIGTERM: %v\n%s", p.err, tail(p.log.String(), 30))
	}
}

// kill ends the process as a power cut would.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.ended
}

func (p *process) eventually(what string, ok func() bool) {
	p.t.Helper()
	for deadline := time.Now().Add(120 * time.Second); time.Now().Before(deadline); {
		if ok() {
			return
		}
		select {
		case <-p.ended:
			p.t.Fatalf("ended before it was %s: %v; log:\n%s", what, p.err, tail(p.log.String(), 40))
		case <-time.After(10 * time.Millisecond):
		}
	}
	p.t.Fatalf("not %s; log:\n%s", what, tail(p.log.String(), 40))
}

// clubDir writes a season's club into a folder of its own, with quick
// watching, old tests told, and the given further YAML.
func clubDir(t *testing.T, s *season.Season) (dir, clubFile string) {
	t.Helper()
	dir = t.TempDir()
	yaml := string(s.ClubYAML)
	if !strings.Contains(yaml, "\nthresholds:") {
		yaml += "\nthresholds:\n  tell_within: 36500d\n"
	} else {
		yaml = strings.Replace(yaml, "\nthresholds:\n", "\nthresholds:\n  tell_within: 36500d\n", 1)
	}
	if !strings.Contains(yaml, "\nfiles:") {
		yaml += "\nfiles:\n  settle: 100ms\n  rescan: 1s\n"
	}
	// A busy machine must not split a session into parts that are told apart:
	// the tests compare runs.
	const chat = "\nchat:\n"
	if !strings.Contains(yaml, chat) {
		t.Fatal("the season's club file has no chat to set")
	}
	yaml = strings.Replace(yaml, chat, chat+"  hold: 3s\n", 1)
	clubFile = filepath.Join(dir, "club.yaml")
	for name, content := range map[string][]byte{"club.yaml": []byte(yaml), "athletes.csv": s.AthletesCSV} {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, inbox := range []string{"inbox/first", "inbox/second"} {
		if err := os.MkdirAll(filepath.Join(dir, inbox), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	return dir, clubFile
}

func drop(t *testing.T, dir string, files ...season.File) {
	t.Helper()
	for _, f := range files {
		if err := writeSeasonFile(dir, f, time.Now()); err != nil {
			t.Fatal(err)
		}
	}
}

// answer runs a query on a history and returns its rows as lines.
func answer(t *testing.T, address, query string) []string {
	t.Helper()
	r, err := history.OpenReader(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	rows, err := r.Query(t.Context(), query, 0)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	lines := make([]string, len(rows.Values))
	for i, v := range rows.Values {
		lines[i] = strings.Join(texts(v), " | ")
	}
	return lines
}
