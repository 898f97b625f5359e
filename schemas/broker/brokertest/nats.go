// Package brokertest starts a real nats-server process for tests: the external
// broker of the three-process form.
package brokertest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// NATS starts nats-server with JetStream on a free loopback port, on its own
// folder, and returns its URL. The server ends with the test. A missing
// program fails the test: install Debian's package nats-server.
func NATS(tb testing.TB) string {
	tb.Helper()
	port := FreePort(tb)
	dir := tb.TempDir()
	conf := filepath.Join(dir, "nats.conf")
	text := fmt.Sprintf("listen: 127.0.0.1:%d\nmax_payload: 8MB\njetstream { store_dir: %q }\n", port, filepath.Join(dir, "js"))
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		tb.Fatal(err)
	}
	Server(tb, conf, port)
	return fmt.Sprintf("nats://127.0.0.1:%d", port)
}

// Server starts nats-server with a configuration that has it listen on a
// loopback port. It ends with the test.
func Server(tb testing.TB, conf string, port int) {
	tb.Helper()
	program, err := exec.LookPath("nats-server")
	if err != nil {
		program = "/usr/sbin/nats-server"
		if _, err := os.Stat(program); err != nil {
			tb.Fatal("nats-server is missing: apt-get install nats-server")
		}
	}
	log, err := os.Create(filepath.Join(tb.TempDir(), "nats.log"))
	if err != nil {
		tb.Fatal(err)
	}
	cmd := exec.Command(program, "-c", conf)
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Start(); err != nil {
		tb.Fatalf("start nats-server: %v", err)
	}
	tb.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		_ = log.Close()
	})
	WaitTCP(tb, fmt.Sprintf("127.0.0.1:%d", port), 10*time.Second)
}

// FreePort returns a loopback port that nobody listens on now.
func FreePort(tb testing.TB) int {
	tb.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().(*net.TCPAddr).Port
}

// WaitTCP waits until somebody listens on addr.
func WaitTCP(tb testing.TB, addr string, patience time.Duration) {
	tb.Helper()
	deadline := time.Now().Add(patience)
	for time.Now().Before(deadline) {
		c, err := net.DialTimeout("tcp", addr, 100*time.Millisecond)
		if err == nil {
			_ = c.Close()
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	tb.Fatalf("nobody listens on %s after %s", addr, patience)
}
