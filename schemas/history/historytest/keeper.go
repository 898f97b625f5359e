package historytest

import (
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// zookeeperJar is where Debian's package has the server.
const zookeeperJar = "/usr/share/java/zookeeper.jar"

// keeper is a ZooKeeper server on the loopback.
type keeper struct {
	dir   string
	port  int
	alive io.Closer
	gone  chan struct{}
}

func startKeeper() (*keeper, error) {
	java, err := exec.LookPath("java")
	if err == nil {
		_, err = os.Stat(zookeeperJar)
	}
	if err != nil {
		return nil, fmt.Errorf("this test needs ZooKeeper (in Debian: apt-get install libzookeeper-java default-jre-headless): %w", err)
	}
	k := &keeper{gone: make(chan struct{})}
	if k.dir, err = os.MkdirTemp(memory(), "canter-zookeeper-"); err != nil {
		return nil, err
	}
	if k.port, err = freePort(); err != nil {
		return k, err
	}
	settings := fmt.Sprintf("tickTime=500\ndataDir=%s/data\nclientPort=%d\nclientPortAddress=127.0.0.1\nadmin.enableServer=false\n", k.dir, k.port)
	if err := os.WriteFile(filepath.Join(k.dir, "zoo.cfg"), []byte(settings), 0o600); err != nil {
		return k, err
	}
	// The end mark says that the data go with the server: see supervise.
	if err := os.WriteFile(filepath.Join(k.dir, "end"), nil, 0o600); err != nil {
		return k, err
	}
	log, err := os.Create(filepath.Join(k.dir, "log"))
	if err != nil {
		return k, err
	}
	defer log.Close()
	cmd := exec.Command("sh", "-c", supervise, "sh", java, "-Xmx128m", "-XX:+UseSerialGC", "-XX:TieredStopAtLevel=1",
		"-cp", zookeeperJar+":/usr/share/java/slf4j-nop.jar", "org.apache.zookeeper.server.ZooKeeperServerMain", filepath.Join(k.dir, "zoo.cfg"))
	cmd.Env = append(os.Environ(), "DIR="+k.dir)
	cmd.Stdout, cmd.Stderr = log, log
	if k.alive, err = cmd.StdinPipe(); err != nil {
		return k, err
	}
	if err := cmd.Start(); err != nil {
		return k, err
	}
	go func() {
		_ = cmd.Wait()
		close(k.gone)
	}()
	return k, k.wait(time.Minute)
}

// wait returns when the keeper says that it serves: a ClickHouse server of 2018
// that gets a statement for the cluster before it has its keeper dies.
func (k *keeper) wait(limit time.Duration) error {
	for deadline := time.Now().Add(limit); ; time.Sleep(20 * time.Millisecond) {
		if k.serves() {
			return nil
		}
		if time.Now().After(deadline) {
			log, _ := os.ReadFile(filepath.Join(k.dir, "log"))
			return fmt.Errorf("ZooKeeper did not start; its log: %s", log)
		}
	}
}

func (k *keeper) serves() bool {
	conn, err := net.DialTimeout("tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(k.port)), time.Second)
	if err != nil {
		return false
	}
	defer conn.Close()
	// It takes connections, and says nothing, before it is ready.
	if err := conn.SetDeadline(time.Now().Add(300 * time.Millisecond)); err != nil {
		return false
	}
	if _, err := conn.Write([]byte("srvr")); err != nil {
		return false
	}
	answer, _ := io.ReadAll(conn)
	return strings.Contains(string(answer), "Mode: standalone")
}

func (k *keeper) end() {
	if k.alive != nil {
		_ = k.alive.Close()
		<-k.gone
	}
	_ = os.RemoveAll(k.dir)
}
