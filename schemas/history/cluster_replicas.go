package history

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strconv"

	"github.com/ClickHouse/clickhouse-go/v2"
	"github.com/ClickHouse/clickhouse-go/v2/lib/driver"
)

// replica is a connection to one server of a cluster, in the database of the
// shards' own rows.
type replica struct {
	shard uint32
	conn  driver.Conn
}

// replicas reaches every server under the name that the cluster knows it by,
// with the account of the address; ordered by shard. The caller closes them.
func (c *cluster) replicas(ctx context.Context) (_ []replica, err error) {
	conn, err := connectClickHouse(ctx, c.address)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	servers, err := c.servers(ctx, conn)
	if err != nil {
		return nil, err
	}
	var list []replica
	for _, s := range servers {
		o, _, err := clickhouseOptions(c.address)
		if err != nil {
			return nil, err
		}
		o.Addr, o.Auth.Database = []string{s.address}, c.shard()
		// A changed table is changed on all replicas when the server says so.
		o.Settings = clickhouse.Settings{"replication_alter_partitions_sync": 2}
		conn, err := connect(ctx, o)
		if err != nil {
			return nil, errors.Join(err, closeAll(list))
		}
		list = append(list, replica{s.shard, conn})
	}
	return list, nil
}

// clusterServer is one server of a cluster.
type clusterServer struct {
	shard   uint32
	address string
}

func (c *cluster) servers(ctx context.Context, conn driver.Conn) ([]clusterServer, error) {
	rows, err := conn.Query(ctx, "SELECT shard_num, host_name, port FROM system.clusters WHERE cluster = ? ORDER BY shard_num, replica_num", c.name)
	if err != nil {
		return nil, fmt.Errorf("history: servers of cluster %s: %w", c.name, err)
	}
	defer rows.Close()
	var list []clusterServer
	for rows.Next() {
		var s clusterServer
		var host string
		var port uint16
		if err := rows.Scan(&s.shard, &host, &port); err != nil {
			return nil, fmt.Errorf("history: servers of cluster %s: %w", c.name, err)
		}
		s.address = net.JoinHostPort(host, strconv.Itoa(int(port)))
		list = append(list, s)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("history: servers of cluster %s: %w", c.name, err)
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("history: %w: the server knows no cluster %s: name one of its remote_servers", ErrAddress, c.name)
	}
	return list, nil
}

func closeAll(replicas []replica) error {
	errs := make([]error, len(replicas))
	for i, r := range replicas {
		errs[i] = r.conn.Close()
	}
	return errors.Join(errs...)
}
