package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"canter.example/cmd/canter/season"
)

// service is a running canter serve.
type service struct {
	cmd  *exec.Cmd
	http string
	log  *bytes.Buffer
}

// serve starts the service over a club file and returns when it is ready.
func (b *bench) serve(ctx context.Context, dir string, env ...string) (*service, time.Duration, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, 0, err
	}
	address := l.Addr().String()
	if err := l.Close(); err != nil {
		return nil, 0, err
	}
	s := &service{http: address, log: &bytes.Buffer{}}
	s.cmd = exec.CommandContext(ctx, b.canter, "serve", "--club", filepath.Join(dir, "club.yaml"), "--data", filepath.Join(dir, "data"), "--http", address, "--log-level", "warn") //nolint:gosec // built above
	if b.profile != "" {
		s.cmd.Args = append(s.cmd.Args, "--profile", filepath.Join(b.profile, filepath.Base(dir)))
	}
	s.cmd.Env = append(os.Environ(), env...)
	s.cmd.Stdout, s.cmd.Stderr = io.Discard, s.log
	begin := time.Now()
	if err := s.cmd.Start(); err != nil {
		return nil, 0, err
	}
	for time.Since(begin) < 30*time.Second {
		if r, err := http.Get("http://" + address + "/readyz"); err == nil {
			_ = r.Body.Close()
			if r.StatusCode == http.StatusOK {
				return s, time.Since(begin), nil
			}
		}
		time.Sleep(time.Millisecond)
	}
	s.stop()
	return nil, 0, fmt.Errorf("not ready within 30 s:\n%s", s.log)
}

func (s *service) stop() {
	_ = s.cmd.Process.Signal(syscall.SIGTERM)
	_ = s.cmd.Wait()
}

// plain asks for no compression: the service's time is what is measured.
var plain = &http.Client{Transport: &http.Transport{DisableCompression: true}}

// metrics returns the service's own figures, by name and labels.
func (s *service) metrics() (map[string]float64, error) {
	r, err := plain.Get("http://" + s.http + "/metrics")
	if err != nil {
		return nil, err
	}
	defer func() { _ = r.Body.Close() }()
	out := map[string]float64{}
	lines := bufio.NewScanner(r.Body)
	for lines.Scan() {
		name, value, ok := cutLast(lines.Text(), " ")
		if v, err := strconv.ParseFloat(value, 64); ok && err == nil && !strings.HasPrefix(name, "#") {
			out[name] = v
		}
	}
	return out, lines.Err()
}

func cutLast(s, sep string) (before, after string, found bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}

// An answer of the metrics costs the service some milliseconds of processor, much of
// it to read what the kernel counts. So it is asked less often while there is much
// left to do, and more often towards the end, which is to be known exactly.
const (
	seldom = 500 * time.Millisecond
	often  = 20 * time.Millisecond
)

// pause is how long to wait before the metrics are asked again: for a half of what
// is left, at the rate so far.
func pause(handled, n float64, since time.Duration) time.Duration {
	if handled == 0 {
		return seldom / 2
	}
	return min(max(time.Duration((n-handled)/handled/2*float64(since)), often), seldom)
}

// handled waits until n files are stored and everything that follows from them
// is done, and returns when the last was stored.
func (s *service) handled(ctx context.Context, n int) (stored time.Time, err error) {
	begin := time.Now()
	for {
		m, err := s.metrics()
		if err != nil {
			return stored, fmt.Errorf("%w\n%s", err, s.log)
		}
		count := m["canter_file_handling_seconds_count"]
		if count >= float64(n) {
			if stored.IsZero() {
				stored = time.Now()
			}
			left := 0.0
			for name, v := range m {
				if strings.HasPrefix(name, "canter_queue_messages") {
					left += v
				}
			}
			if left == 0 {
				return stored, nil
			}
		}
		select {
		case <-ctx.Done():
			return stored, ctx.Err()
		case <-time.After(pause(count, float64(n), time.Since(begin))):
		}
	}
}

// memory returns the resident memory of the service, now and at its most, in
// MiB, and the processor time it has used.
func (s *service) memory() (now, most float64, err error) {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", s.cmd.Process.Pid))
	if err != nil {
		return 0, 0, err
	}
	for line := range strings.SplitSeq(string(b), "\n") {
		f := strings.Fields(line)
		if len(f) < 2 {
			continue
		}
		switch f[0] {
		case "VmRSS:":
			now, err = strconv.ParseFloat(f[1], 64)
		case "VmHWM:":
			most, err = strconv.ParseFloat(f[1], 64)
		}
		if err != nil {
			return 0, 0, err
		}
	}
	return now / 1024, most / 1024, nil
}

// write puts files below dir as a program that is done with each would: under
// another name first.
func write(dir string, files ...season.File) error {
	for _, f := range files {
		name := filepath.Join(dir, filepath.FromSlash(f.Path))
		if err := os.MkdirAll(filepath.Dir(name), 0o750); err != nil {
			return err
		}
		if err := errors.Join(os.WriteFile(name+".part", f.Content, 0o600), os.Rename(name+".part", name)); err != nil {
			return err
		}
	}
	return nil
}
