package historytest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/ClickHouse/clickhouse-go/v2"
)

// Cluster is three ClickHouse servers of the tests' own and the ZooKeeper that
// they agree by: a shard of two replicas and one of a single server.
type Cluster struct {
	// Servers are the replicas of the first shard, then that of the second.
	Servers []*Server
	keeper  *keeper
}

// ClusterName is the cluster's name in its servers' settings.
const ClusterName = "clubs"

// sharedCluster starts with the first test that asks for it and ends with the
// binary.
var sharedCluster = sync.OnceValues(startCluster)

// SharedCluster returns the cluster that the tests of one binary share. The test
// fails when there is none: in Debian it takes the packages clickhouse-server,
// libzookeeper-java and default-jre-headless.
func SharedCluster(tb testing.TB) *Cluster {
	tb.Helper()
	c, err := sharedCluster()
	if err != nil {
		tb.Fatal(err)
	}
	return c
}

// NewCluster starts a cluster for one test alone, which may kill its servers.
func NewCluster(tb testing.TB) *Cluster {
	tb.Helper()
	c, err := startCluster()
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(c.end)
	return c
}

// Address returns the address of a database on one of the servers, with the
// setting that asks for the cluster's form.
func (c *Cluster) Address(server int, database string) string {
	return c.Servers[server].Address(database) + "?canter_cluster=" + ClusterName
}

func startCluster() (*Cluster, error) {
	command, err := serverCommand()
	if err != nil {
		return nil, err
	}
	// Ports may be taken before the servers have them.
	for attempt := 0; ; attempt++ {
		c, err := startClusterOn(command)
		if err == nil || attempt == 2 {
			return c, err
		}
	}
}

func startClusterOn(command []string) (c *Cluster, err error) {
	c = &Cluster{}
	defer func() {
		if err != nil {
			c.end()
		}
	}()
	if c.keeper, err = startKeeper(); err != nil {
		return c, err
	}
	interserver := make([]int, 3)
	for i := range interserver {
		s := &Server{command: command}
		c.Servers = append(c.Servers, s)
		if s.dir, err = os.MkdirTemp(memory(), "canter-clickhouse-"); err != nil {
			return c, err
		}
		if s.port, err = freePort(); err == nil {
			interserver[i], err = freePort()
		}
		if err != nil {
			return c, err
		}
	}
	for i := range c.Servers {
		if err := c.configure(i, interserver[i]); err != nil {
			return c, err
		}
	}
	started := make([]error, len(c.Servers))
	var all sync.WaitGroup
	for i, s := range c.Servers {
		all.Go(func() { started[i] = s.Start() })
	}
	all.Wait()
	if err = errors.Join(started...); err != nil {
		return c, err
	}
	time.Sleep(500 * time.Millisecond) // see survive
	for _, s := range c.Servers {
		if err = s.warm(); err != nil {
			return c, err
		}
	}
	return c, nil
}

// warm gives a server its first statement for the cluster.
func (s *Server) warm() error { return s.survive(s.first) }

// survive does something with a server. One of 2018 that has not reached the
// keeper yet, as happens on a busy machine, dies of the first thing it needs it
// for; started again it is sound.
func (s *Server) survive(do func() error) (err error) {
	for range 3 {
		if err = do(); err == nil {
			return nil
		}
		if s.answers() {
			break
		}
		if again := errors.Join(s.Kill(), s.Start()); again != nil {
			return errors.Join(err, again)
		}
	}
	log, _ := os.ReadFile(filepath.Join(s.dir, "log"))
	return fmt.Errorf("%w; the end of the server's log: %s", err, log[max(0, len(log)-4000):])
}

// answers reports whether the server still does, a moment after a trouble: it
// takes one to die.
func (s *Server) answers() bool {
	time.Sleep(500 * time.Millisecond)
	conn, err := net.DialTimeout("tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(s.port)), time.Second)
	if err != nil {
		return false
	}
	return conn.Close() == nil
}

func (s *Server) first() error {
	conn, err := clickhouse.Open(&clickhouse.Options{Addr: []string{fmt.Sprintf("127.0.0.1:%d", s.port)}})
	if err != nil {
		return err
	}
	err = conn.Exec(context.Background(), "CREATE DATABASE IF NOT EXISTS warm ON CLUSTER "+ClusterName)
	return errors.Join(err, conn.Close())
}

// configure gives a server the files of deploy/, with the tests' ports in them.
func (c *Cluster) configure(server, interserver int) error {
	names := []string{
		"<interserver_http_host>db1.example.org<", "<interserver_http_host>127.0.0.1<",
		"<interserver_http_port>9009<", fmt.Sprintf("<interserver_http_port>%d<", interserver),
		"<host>keeper1.example.org</host><port>2181<", fmt.Sprintf("<host>127.0.0.1</host><port>%d<", c.keeper.port),
		"</node>", "</node><session_timeout_ms>3000</session_timeout_ms>", // the tests don't wait half a minute for a dead one
		"<shard>1</shard><replica>db1<", fmt.Sprintf("<shard>%d</shard><replica>db%d<", 1+server/2, server+1),
	}
	for i, s := range c.Servers {
		names = append(names, fmt.Sprintf("<host>db%d.example.org</host><port>9000<", i+1), fmt.Sprintf("<host>127.0.0.1</host><port>%d<", s.port))
	}
	_, source, _, _ := runtime.Caller(0)
	deploy := filepath.Join(filepath.Dir(source), "..", "..", "..", "deploy")
	for file, folder := range map[string]string{"clickhouse-cluster.xml": "config.d", "clickhouse-cluster-users.xml": "users.d"} {
		text, err := os.ReadFile(filepath.Join(deploy, file))
		if err != nil {
			return err
		}
		changed := strings.NewReplacer(names...).Replace(string(text))
		if strings.Contains(changed, ".example.org") {
			return fmt.Errorf("%s: the tests have no server for one of its names", file)
		}
		if err := c.Servers[server].add(folder, file, changed); err != nil {
			return err
		}
	}
	return c.Servers[server].configure()
}

func (c *Cluster) end() {
	for _, s := range c.Servers {
		s.end()
	}
	if c.keeper != nil {
		c.keeper.end()
	}
}

// emptied is the database that tests of a cluster take turns with: on several
// servers it takes ten seconds to make one.
var emptied sync.Mutex

// ClusterDatabase is the name of that database: its rows belong on the first
// shard, of two replicas.
const ClusterDatabase = "tests_of_a_club"

// ClusterHistory returns the address of a history without rows on the shared
// cluster, on the server of the second shard. Tests have it one after another.
func ClusterHistory(tb testing.TB) string {
	tb.Helper()
	c := SharedCluster(tb)
	emptied.Lock()
	tb.Cleanup(emptied.Unlock)
	if err := c.empty(ClusterDatabase); err != nil {
		tb.Fatal(err)
	}
	return c.Address(2, ClusterDatabase)
}

// Settle returns when every replica of a database's tables takes part again and
// has all rows: the keeper takes some seconds to notice that a server died.
func (c *Cluster) Settle(database string) error {
	ctx := context.Background()
	return c.each(func(conn clickhouse.Conn) error {
		const query = "SELECT count() FROM system.replicas WHERE database = ? AND (is_readonly OR is_session_expired OR active_replicas < total_replicas)"
		for deadline := time.Now().Add(time.Minute); ; time.Sleep(50 * time.Millisecond) {
			var away uint64
			if err := conn.QueryRow(ctx, query, database+"_shard").Scan(&away); err != nil {
				return err
			}
			if away == 0 {
				break
			}
			if time.Now().After(deadline) {
				return fmt.Errorf("%d tables have replicas that don't come back", away)
			}
		}
		tables, err := replicatedTables(ctx, conn, database+"_shard")
		for _, name := range tables {
			err = errors.Join(err, conn.Exec(ctx, "SYSTEM SYNC REPLICA "+name))
		}
		return err
	})
}

// each does something on every server.
func (c *Cluster) each(do func(clickhouse.Conn) error) error {
	for _, s := range c.Servers {
		err := s.survive(func() error {
			conn, err := clickhouse.Open(&clickhouse.Options{Addr: []string{fmt.Sprintf("127.0.0.1:%d", s.port)}})
			if err != nil {
				return err
			}
			return errors.Join(do(conn), conn.Close())
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// empty takes all rows away from a database's shards, but for the list of its
// migrations.
func (c *Cluster) empty(database string) error {
	ctx := context.Background()
	return c.each(func(conn clickhouse.Conn) error {
		tables, err := replicatedTables(ctx, conn, database+"_shard")
		if err != nil {
			return err
		}
		for _, name := range tables {
			if strings.HasSuffix(name, "migrations") {
				continue
			}
			if err := conn.Exec(ctx, "TRUNCATE TABLE "+name); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			if err := conn.Exec(ctx, "SYSTEM SYNC REPLICA "+name); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
		}
		return nil
	})
}

func replicatedTables(ctx context.Context, conn clickhouse.Conn, database string) (names []string, err error) {
	rows, err := conn.Query(ctx, "SELECT concat(database, '.', table) FROM system.replicas WHERE database = ?", database)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, rows.Err()
}
