package faults_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"canter.example/schemas/broker/brokertest"
)

// natsServer is Debian's nats-server as a process, alone or one of a cluster.
type natsServer struct {
	process
	store string
	port  int
}

// startNATS starts so many servers, as a cluster when there are several.
func startNATS(t *testing.T, n int) []*natsServer {
	t.Helper()
	path, err := exec.LookPath("nats-server")
	if err != nil {
		path = "/usr/sbin/nats-server"
		if _, err := os.Stat(path); err != nil {
			t.Fatal("nats-server is missing: apt-get install nats-server")
		}
	}
	var routes []string
	servers := make([]*natsServer, n)
	peers := make([]int, n)
	for i := range servers {
		peers[i] = brokertest.FreePort(t)
		routes = append(routes, fmt.Sprintf("nats://127.0.0.1:%d", peers[i]))
	}
	for i := range servers {
		dir := t.TempDir()
		s := &natsServer{store: filepath.Join(dir, "js"), port: brokertest.FreePort(t)}
		s.process = process{t: t, name: fmt.Sprint("nats-", i+1), log: &buffer{}}
		conf := fmt.Sprintf("server_name: n%d\nlisten: 127.0.0.1:%d\nmax_payload: 8MB\njetstream { store_dir: %q }\n", i+1, s.port, s.store)
		if n > 1 {
			conf += fmt.Sprintf("cluster { name: faults, listen: 127.0.0.1:%d, routes: [%s] }\n", peers[i], strings.Join(routes, ", "))
		}
		file := filepath.Join(dir, "nats.conf")
		if err := os.WriteFile(file, []byte(conf), 0o600); err != nil {
			t.Fatal(err)
		}
		s.args = []string{path, "-c", file}
		s.start()
		t.Cleanup(s.kill)
		servers[i] = s
	}
	for _, s := range servers {
		brokertest.WaitTCP(t, fmt.Sprintf("127.0.0.1:%d", s.port), 20*time.Second)
	}
	return servers
}

func (s *natsServer) url() string { return fmt.Sprintf("nats://127.0.0.1:%d", s.port) }

func urls(servers []*natsServer) string {
	var list []string
	for _, s := range servers {
		list = append(list, s.url())
	}
	return strings.Join(list, ",")
}

func (s *natsServer) pause()  { _ = s.cmd.Process.Signal(syscall.SIGSTOP) }
func (s *natsServer) resume() { _ = s.cmd.Process.Signal(syscall.SIGCONT) }
