package faults_test

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"canter.example/schemas/broker/brokertest"
)

// process is a process that may be killed, stopped for a while, and started
// again with the same arguments.
type process struct {
	t    *testing.T
	name string
	args []string
	env  []string
	// wrap is put before the program, as sh -c does.
	wrap []string
	http string
	log  *buffer

	cmd   *exec.Cmd
	ended chan struct{}
	err   error
	// starts counts how often it was started.
	starts int
}

// buffer keeps the last of what a process writes.
type buffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *buffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.b.Len() > 4<<20 {
		l.b.Next(2 << 20)
	}
	return l.b.Write(p)
}

func (l *buffer) tail(lines int) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	all := strings.Split(l.b.String(), "\n")
	return strings.Join(all[max(0, len(all)-lines):], "\n")
}

func (l *buffer) has(text string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Contains(l.b.String(), text)
}

// newServe returns a canter serve that is not started yet.
func newServe(t *testing.T, name string, args ...string) *process {
	t.Helper()
	p := &process{t: t, name: name, log: &buffer{}}
	p.http = fmt.Sprintf("127.0.0.1:%d", brokertest.FreePort(t))
	p.args = append([]string{program, "serve", "--http", p.http}, args...)
	t.Cleanup(func() {
		p.kill()
		if t.Failed() {
			t.Logf("log of %s:\n%s", name, p.log.tail(30))
		}
	})
	return p
}

func (p *process) start() {
	p.t.Helper()
	args := append(append([]string{}, p.wrap...), p.args...)
	p.cmd = exec.Command(args[0], args[1:]...)
	p.cmd.Env = append(os.Environ(), p.env...)
	p.cmd.Stdout, p.cmd.Stderr = p.log, p.log
	if err := p.cmd.Start(); err != nil {
		p.t.Fatalf("start %s: %v", p.name, err)
	}
	p.starts++
	p.ended = make(chan struct{})
	go func(c *exec.Cmd, ended chan struct{}) {
		p.err = c.Wait()
		close(ended)
	}(p.cmd, p.ended)
}

// kill ends the process as kill -9 does.
func (p *process) kill() {
	if p.cmd == nil {
		return
	}
	_ = p.cmd.Process.Signal(syscall.SIGCONT)
	_ = p.cmd.Process.Kill()
	<-p.ended
}

// stop ends the process as its manager would.
func (p *process) stop() {
	p.t.Helper()
	_ = p.cmd.Process.Signal(syscall.SIGTERM)
	select {
	case <-p.ended:
	case <-time.After(30 * time.Second):
		p.t.Fatalf("%s is still there 30 s after SIGTERM\n%s", p.name, p.log.tail(30))
	}
	if p.err != nil {
		p.t.Errorf("%s after SIGTERM: %v\n%s", p.name, p.err, p.log.tail(30))
	}
}

func (p *process) alive() bool {
	select {
	case <-p.ended:
		return false
	default:
		return true
	}
}

// revive starts the process again when it has ended, as systemd would. It
// reports whether it had.
func (p *process) revive() bool {
	if p.alive() {
		return false
	}
	p.start()
	return true
}

// get returns a page of the process's own server, 0 when nobody answers.
func (p *process) get(path string) (code int, body string) {
	c := http.Client{Timeout: 10 * time.Second}
	r, err := c.Get("http://" + p.http + path)
	if err != nil {
		return 0, ""
	}
	defer func() { _ = r.Body.Close() }()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		return 0, ""
	}
	return r.StatusCode, string(b)
}

func (p *process) ready() bool {
	code, _ := p.get("/readyz")
	return code == http.StatusOK
}

func (p *process) waitReady() {
	p.t.Helper()
	eventually(p.t, p.name+" is ready", time.Minute, func() bool {
		if !p.alive() {
			p.t.Fatalf("%s ended: %v\n%s", p.name, p.err, p.log.tail(30))
		}
		return p.ready()
	})
}

func eventually(t *testing.T, what string, limit time.Duration, ok func() bool) {
	t.Helper()
	for deadline := time.Now().Add(limit); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("after %s not: %s", limit, what)
}

// kilobytes returns a field of /proc/<pid>/status, as VmRSS.
func (p *process) kilobytes(field string) int {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(b)) {
		var n int
		if _, err := fmt.Sscanf(line, field+": %d kB", &n); err == nil {
			return n
		}
	}
	return 0
}
