package history

import (
	"context"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"time"
)

// clusterEraser implements eraser on a cluster: it asks every server for its own
// rows, so that what it says of the search holds for each copy, and takes rows
// away on one replica of each shard, from which the others hear of it.
type clusterEraser struct {
	database string // with the shards' own rows
	// replicas are all servers of the cluster; shards the first of each shard.
	replicas, shards []clickhouseEraser
}

// eraser is what fits the form of the tables. The caller ends it.
func (s *clickhouseStore) eraser(ctx context.Context) (e eraser, end func() error, err error) {
	if s.cluster == nil {
		return clickhouseEraser{s}, func() error { return nil }, nil
	}
	replicas, err := s.cluster.replicas(ctx)
	if err != nil {
		return nil, nil, fmt.Errorf("history: every server is needed to erase: %w", err)
	}
	c := &clusterEraser{database: s.cluster.shard()}
	for i, r := range replicas {
		e := clickhouseEraser{&clickhouseStore{conn: r.conn}}
		c.replicas = append(c.replicas, e)
		if i == 0 || r.shard != replicas[i-1].shard {
			c.shards = append(c.shards, e)
		}
	}
	return c, func() error { return closeAll(replicas) }, nil
}

func (c *clusterEraser) textColumns(ctx context.Context) (map[string][]string, error) {
	return c.shards[0].textColumns(ctx)
}

// texts waits for each replica to have what it was told before: rows it has not
// fetched yet could not be found.
func (c *clusterEraser) texts(ctx context.Context, table string, columns []string, where string, args []any, row func([]string)) error {
	for _, r := range c.replicas {
		if err := r.s.conn.Exec(ctx, "SYSTEM SYNC REPLICA "+quoteName(c.database)+"."+table); err != nil {
			return err
		}
		if err := r.texts(ctx, table, columns, where, args, row); err != nil {
			return err
		}
	}
	return nil
}

func (c *clusterEraser) remove(ctx context.Context, table, where string, args []any) (int, error) {
	removed := 0
	for _, r := range c.shards {
		n, err := r.removeAlike(ctx, table, where, args)
		if err != nil {
			return removed, err
		}
		removed += n
	}
	return removed, nil
}

var whereAnother = regexp.MustCompile(`^([a-z_]+) IN \(SELECT ([a-z_]+) FROM ([a-z_]+) WHERE (.+)\)$`)

// removeAlike is remove for a table with replicas. Each of them works a
// condition out by itself, so what it finds in another table is asked for once
// and named: they can't come to different answers.
func (e clickhouseEraser) removeAlike(ctx context.Context, table, where string, args []any) (int, error) {
	m := whereAnother.FindStringSubmatch(where)
	if m == nil {
		return e.remove(ctx, table, where, args)
	}
	seen := map[string]bool{}
	if err := e.texts(ctx, m[3], []string{m[2]}, m[4], args, func(row []string) { seen[row[0]] = true }); err != nil {
		return 0, err
	}
	removed := 0
	for part := range slices.Chunk(slices.Sorted(maps.Keys(seen)), eraseChunk) {
		n, err := e.remove(ctx, table, m[1]+" IN ("+marks(len(part))+")", anys(part))
		if err != nil {
			return removed, err
		}
		removed += n
	}
	return removed, nil
}

func (c *clusterEraser) blank(ctx context.Context, table, column, text, where string, args []any) error {
	if err := c.settle(ctx); err != nil {
		return err
	}
	for _, r := range c.shards {
		if err := r.update(ctx, table, column, text, where, args); err != nil {
			return err
		}
	}
	return c.settle(ctx)
}

func (c *clusterEraser) wait(ctx context.Context) error { return c.settle(ctx) }

// settle waits until every replica has done every mutation that the keeper
// knows of its tables.
func (c *clusterEraser) settle(ctx context.Context) error {
	for _, r := range c.replicas {
		for {
			left, err := r.behind(ctx)
			if err != nil {
				return err
			}
			if left == 0 {
				break
			}
			select {
			case <-ctx.Done():
				return mutationsLeft(left, ctx.Err())
			case <-time.After(50 * time.Millisecond):
			}
		}
	}
	return nil
}

// behind is the number of mutations that this replica has not done. Some that
// the keeper has may not be in its own list yet.
func (e clickhouseEraser) behind(ctx context.Context) (uint64, error) {
	paths := map[string]string{}
	rows, err := e.s.conn.Query(ctx, "SELECT table, zookeeper_path FROM system.replicas WHERE database = currentDatabase()")
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	for rows.Next() {
		var table, path string
		if err := rows.Scan(&table, &path); err != nil {
			return 0, err
		}
		paths[table] = path
	}
	if err := rows.Err(); err != nil {
		return 0, err
	}
	var left uint64
	for table, path := range paths {
		var n uint64
		if err := e.s.conn.QueryRow(ctx, `SELECT count() FROM system.zookeeper WHERE path = ? AND name NOT IN (
			SELECT mutation_id FROM system.mutations WHERE database = currentDatabase() AND table = ? AND is_done = 1)`,
			path+"/mutations", table).Scan(&n); err != nil {
			return 0, err
		}
		left += n
	}
	return left, nil
}
