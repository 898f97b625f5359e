package historytest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/ClickHouse/clickhouse-go/v2"
)

// Program is the environment variable that names the command of another
// ClickHouse server than the clickhouse-server on the path.
const Program = "CANTER_CLICKHOUSE_SERVER"

// Server is a ClickHouse server of the tests' own: its data in a folder that
// goes with it, its port on the loopback and given by the system.
type Server struct {
	dir     string
	port    int
	command []string
	alive   io.Closer // the server ends when this closes, and so with this process
	gone    chan struct{}
}

// supervise runs a command until its own input ends, which it does however the
// process ends that holds the other side, then kills it.
const supervise = `"$@" </dev/null & echo $! >"$DIR/pid"; cat >/dev/null; kill -9 $!; wait $! 2>/dev/null; if [ -e "$DIR/end" ]; then rm -rf "$DIR"; fi`

// serverCommand is the command of a server.
func serverCommand() ([]string, error) {
	command := strings.Fields(os.Getenv(Program))
	if len(command) == 0 {
		command = []string{"clickhouse-server"}
	}
	program, err := exec.LookPath(command[0])
	if err != nil {
		return nil, fmt.Errorf("this test needs a ClickHouse server (in Debian: apt-get install clickhouse-server; another one: set %s): %w", Program, err)
	}
	command[0] = program
	return command, nil
}

func startServer() (*Server, error) {
	command, err := serverCommand()
	if err != nil {
		return nil, err
	}
	// The port may be taken before the server has it.
	for attempt := 0; ; attempt++ {
		s, err := startOn(command)
		if err == nil || attempt == 2 {
			return s, err
		}
	}
}

func startOn(command []string) (*Server, error) {
	dir, err := os.MkdirTemp(memory(), "canter-clickhouse-")
	if err != nil {
		return nil, err
	}
	s := &Server{dir: dir, command: command}
	if s.port, err = freePort(); err == nil {
		err = s.configure()
	}
	if err == nil {
		err = s.Start()
	}
	if err != nil {
		s.end()
		return nil, err
	}
	return s, nil
}

// memory returns a file system in memory with room for tests, "" when there is
// none. Each insert makes a file for each column, and tests make many inserts:
// on a disk they take several times as long.
func memory() string {
	const dir, room = "/dev/shm", 1 << 30
	var st syscall.Statfs_t
	if err := syscall.Statfs(dir, &st); err != nil || uint64(st.Bsize)*st.Bavail < room {
		return ""
	}
	return dir
}

// freePort asks the system for a port that nobody listens on.
func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	return l.Addr().(*net.TCPAddr).Port, l.Close()
}

// Start starts the server on the data it has and waits until it answers.
func (s *Server) Start() error {
	log, err := os.OpenFile(filepath.Join(s.dir, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer log.Close()
	// The end mark says that the data may go when the server does: Kill takes
	// it away for the while.
	if err := os.WriteFile(filepath.Join(s.dir, "end"), nil, 0o600); err != nil {
		return err
	}
	args := append([]string{"-c", supervise, "sh"}, s.command...)
	cmd := exec.Command("sh", append(args, "--config-file="+filepath.Join(s.dir, "config.xml"))...)
	cmd.Env = append(os.Environ(), "DIR="+s.dir)
	cmd.Stdout, cmd.Stderr = log, log
	if s.alive, err = cmd.StdinPipe(); err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("ClickHouse server: %w", err)
	}
	s.gone = make(chan struct{})
	go func(gone chan struct{}) {
		_ = cmd.Wait()
		close(gone)
	}(s.gone)
	return s.wait(time.Minute)
}

// wait returns when the server answers, or an error with its log.
func (s *Server) wait(limit time.Duration) error {
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	conn, err := clickhouse.Open(&clickhouse.Options{Addr: []string{fmt.Sprintf("127.0.0.1:%d", s.port)}, DialTimeout: time.Second})
	if err != nil {
		return err
	}
	defer conn.Close()
	for {
		if err = conn.Ping(ctx); err == nil {
			return nil
		}
		if _, dead := s.pid(); dead || ctx.Err() != nil {
			log, _ := os.ReadFile(filepath.Join(s.dir, "log"))
			return fmt.Errorf("the ClickHouse server did not start: %w; its log: %s", err, log)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// pid returns the server's process, and whether it is known to be dead.
func (s *Server) pid() (pid int, dead bool) {
	text, err := os.ReadFile(filepath.Join(s.dir, "pid"))
	if err != nil {
		return 0, false // not started yet
	}
	pid, err = strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0, false // not written yet
	}
	return pid, errors.Is(syscall.Kill(pid, 0), syscall.ESRCH)
}

// Kill ends the server at once, as a power cut would; its data stays for the
// next Start.
func (s *Server) Kill() error {
	if err := os.Remove(filepath.Join(s.dir, "end")); err != nil {
		return err
	}
	err := s.alive.Close()
	<-s.gone
	return errors.Join(err, os.Remove(filepath.Join(s.dir, "pid")))
}

// end ends the server and takes its data away.
func (s *Server) end() {
	if s.alive != nil {
		_ = s.alive.Close()
		<-s.gone
	}
	_ = os.RemoveAll(s.dir)
}
