package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync"

	"github.com/ClickHouse/clickhouse-go/v2"
	"github.com/ClickHouse/clickhouse-go/v2/lib/driver"
	"github.com/pressly/goose/v3"
)

// clusterSetting is the setting in the history's address that asks for the form
// of the tables for several servers; its value is the cluster's name in the
// servers' remote_servers.
const clusterSetting = "canter_cluster"

// cluster is the history on several ClickHouse servers. Its tables are the same
// as on one server, in a database of their own beside that of the address and
// replicated within each shard; the views over them are there too, so each
// shard answers from its own rows. In the database of the address every table
// and view has a distributed twin of its name, which is what canter and analysts
// talk to. The sharding key is a function of the database's name alone: a
// database is a club's, so a club's rows are together on one shard, where
// replacing by key, joins and subqueries are as exact as on one server.
type cluster struct {
	name     string // the cluster's, as the servers know it
	database string // that of the address, with the distributed twins
	address  string // to reach the servers one by one
}

// shard is the database with each shard's own rows.
func (c *cluster) shard() string { return c.database + "_shard" }

// key is the sharding key: the same for all of a club's rows.
func (c *cluster) key() string { return "cityHash64(" + quoteText(c.database) + ")" }

// on names the cluster in a statement that is to run on all its servers.
func (c *cluster) on() string { return " ON CLUSTER " + quoteName(c.name) }

// settings adds what canter's own connections need on a cluster to what the
// address says. Nothing on one server, where c is nil.
func (c *cluster) settings(given clickhouse.Settings) clickhouse.Settings {
	if c == nil {
		return given
	}
	s := clickhouse.Settings{
		// An acknowledged row is on its shard, not in a queue for it.
		"insert_distributed_sync": 1,
		// A block like one of last week is no doublet once its rows were erased
		// in between. Rows have keys and versions.
		"insert_deduplicate": 0,
	}
	maps.Copy(s, given)
	return s
}

// profileSettings are what the account's profile on the servers must have, and
// why. Old servers take no text as a setting of a connection.
var profileSettings = []struct {
	name, why string
	values    []string // the first is what we advise
}{
	{"distributed_product_mode", "subqueries are answered by the shard that asks, which has all of a club", []string{"local", "global", "allow"}},
	{"load_balancing", "what was written is read from the same replica", []string{"in_order", "first_or_random"}},
}

// profile checks them.
func (c *cluster) profile(ctx context.Context, conn driver.Conn) error {
	for _, p := range profileSettings {
		var value string
		if err := conn.QueryRow(ctx, "SELECT value FROM system.settings WHERE name = ?", p.name).Scan(&value); err != nil {
			return fmt.Errorf("history: setting %s: %w", p.name, err)
		}
		if !slices.Contains(p.values, value) {
			return fmt.Errorf("history: cluster %s: the account's profile on the server has %s = %s, and must have %s: %s",
				c.name, p.name, value, p.values[0], p.why)
		}
	}
	return nil
}

// takeCluster takes canter's own setting out of what goes to the server.
func takeCluster(o *clickhouse.Options, address string) (*cluster, error) {
	name, found := o.Settings[clusterSetting]
	if !found {
		return nil, nil
	}
	delete(o.Settings, clusterSetting)
	c := &cluster{name: fmt.Sprint(name), database: o.Auth.Database, address: address}
	if c.name == "" {
		return nil, fmt.Errorf("history: %w: %s wants the name of a cluster in the servers' remote_servers", ErrAddress, clusterSetting)
	}
	return c, nil
}

func quoteName(name string) string {
	return "`" + strings.NewReplacer("`", "\\`", "\\", "\\\\").Replace(name) + "`"
}

func quoteText(text string) string {
	return "'" + strings.NewReplacer("'", "\\'", "\\", "\\\\").Replace(text) + "'"
}

// The statements of migrations, as far as the cluster's form changes them.
var (
	statementHead = regexp.MustCompile(`(?m)^(CREATE TABLE IF NOT EXISTS|CREATE VIEW IF NOT EXISTS|CREATE MATERIALIZED VIEW IF NOT EXISTS|DROP TABLE IF EXISTS|ALTER TABLE|OPTIMIZE TABLE|INSERT INTO) ([a-z0-9_]+)`)
	statementFrom = regexp.MustCompile(`\b(FROM|JOIN|TO|IN)(\s+)([a-z][a-z0-9_]*)\b`)
	tableEngine   = regexp.MustCompile(`\bENGINE = ([A-Za-z]*MergeTree)(\(([^()]*)\))?`)
	sqlComment    = regexp.MustCompile(`(?m)[ \t]*--.*$`)
)

// errClusterForm is returned for a migration that has no form for a cluster.
var errClusterForm = errors.New("this statement has no form for a cluster")

// statement turns a migration of one server into that of the cluster: on all
// its servers, with replicated tables, every table by its full name, as the
// servers complete names with a database of their own.
func (c *cluster) statement(text string) (string, error) {
	known, err := madeNames()
	if err != nil {
		return "", err
	}
	text = strings.TrimSuffix(strings.TrimSpace(sqlComment.ReplaceAllString(text, "")), ";")
	head := statementHead.FindStringSubmatchIndex(text)
	if head == nil || head[0] != 0 {
		return "", fmt.Errorf("%w: begin with CREATE … IF NOT EXISTS, DROP TABLE IF EXISTS, ALTER TABLE, OPTIMIZE TABLE or INSERT INTO", errClusterForm)
	}
	verb, name, rest := text[head[2]:head[3]], text[head[4]:head[5]], text[head[5]:]
	in := quoteName(c.shard()) + "."
	rest = statementFrom.ReplaceAllStringFunc(rest, func(s string) string {
		m := statementFrom.FindStringSubmatch(s)
		if !known[m[3]] {
			return s
		}
		return m[1] + m[2] + in + m[3]
	})
	if verb == "CREATE TABLE IF NOT EXISTS" {
		if rest, err = c.replicated(name, rest); err != nil {
			return "", err
		}
	}
	if slices.Contains(withinShard, verb) {
		return verb + " " + in + name + rest, nil
	}
	return verb + " " + in + name + c.on() + rest, nil
}

// withinShard are the statements that are not for all servers: their replicas
// hear of what they do.
var withinShard = []string{"INSERT INTO", "OPTIMIZE TABLE", "ALTER TABLE"}

// run runs a migration's statement: once, for all servers have it from one, or
// on one replica of each shard.
func (c *cluster) run(ctx context.Context, db *sql.DB, statement string) error {
	if !slices.ContainsFunc(withinShard, func(verb string) bool { return strings.HasPrefix(statement, verb) }) {
		_, err := db.ExecContext(ctx, statement)
		return err
	}
	replicas, err := c.replicas(ctx)
	if err != nil {
		return err
	}
	for i, r := range replicas {
		if i == 0 || r.shard != replicas[i-1].shard {
			err = errors.Join(err, runWithin(ctx, r.conn, statement))
		}
	}
	return errors.Join(err, closeAll(replicas))
}

// runWithin adds columns that are there no second time, and does not settle a
// table without rows: servers of 2018 fail at both.
func runWithin(ctx context.Context, conn driver.Conn, statement string) error {
	if table, found := strings.CutPrefix(statement, "OPTIMIZE TABLE "); found {
		table, _, _ = strings.Cut(table, " ")
		var rows uint64
		if err := conn.QueryRow(ctx, "SELECT count() FROM "+table).Scan(&rows); err != nil || rows == 0 {
			return err
		}
	}
	if err := conn.Exec(ctx, statement); err != nil && !columnIsThere(err) {
		return err
	}
	return nil
}

// replicated makes the engine of a table its replicated kind. The path is the
// same on all replicas of a shard: {shard} and {replica} are the servers' macros.
func (c *cluster) replicated(table, rest string) (string, error) {
	m := tableEngine.FindStringSubmatchIndex(rest)
	if m == nil {
		return "", fmt.Errorf("%w: table %s is no MergeTree", errClusterForm, table)
	}
	arguments := ""
	if m[6] >= 0 && strings.TrimSpace(rest[m[6]:m[7]]) != "" {
		arguments = ", " + rest[m[6]:m[7]]
	}
	path := quoteText("/clickhouse/tables/{shard}/" + c.shard() + "/" + table)
	return rest[:m[0]] + "ENGINE = Replicated" + rest[m[2]:m[3]] + "(" + path + ", '{replica}'" + arguments + ")" + rest[m[1]:], nil
}

// madeNames are the names of all tables and views that migrations make.
var madeNames = sync.OnceValues(func() (map[string]bool, error) {
	names := map[string]bool{}
	err := eachMigration(func(_, text string) error {
		for _, m := range statementHead.FindAllStringSubmatch(text, -1) {
			names[m[2]] = true
		}
		return nil
	})
	return names, err
})

// eachMigration hands over ClickHouse's migrations in their order.
func eachMigration(fn func(file, text string) error) error {
	files, err := fs.Glob(migrations, "clickhouse/*.sql")
	if err != nil {
		return err
	}
	for _, file := range files {
		text, err := migrations.ReadFile(file)
		if err == nil {
			err = fn(file, string(text))
		}
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
	}
	return nil
}

// ClusterMigrations returns every migration in the form for the cluster of that
// name, in their order, as canter would run them for the database.
func ClusterMigrations(name, database string) ([]string, error) {
	c := &cluster{name: name, database: database}
	list := append(c.databases(), c.versions()...)
	made := map[string]bool{}
	err := eachMigration(func(_, text string) error {
		statement, err := c.statement(text)
		list = append(list, statement)
		for _, m := range statementHead.FindAllStringSubmatch(text, -1) {
			if m[1] == "CREATE TABLE IF NOT EXISTS" || m[1] == "CREATE VIEW IF NOT EXISTS" {
				made[m[2]] = true
			}
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("history: %w", err)
	}
	for _, twin := range slices.Sorted(maps.Keys(made)) {
		list = append(list, c.dropTwin(twin), c.makeTwin(twin))
	}
	return list, nil
}

// migrations are the same as goose wants them.
func (c *cluster) migrations() ([]*goose.Migration, error) {
	var list []*goose.Migration
	err := eachMigration(func(file, text string) error {
		version, err := goose.NumericComponent(file)
		if err != nil {
			return err
		}
		statement, err := c.statement(text)
		list = append(list, goose.NewGoMigration(version, &goose.GoFunc{RunDB: func(ctx context.Context, db *sql.DB) error {
			if err := c.run(ctx, db, statement); err != nil {
				return fmt.Errorf("%s: %w", file, err)
			}
			return nil
		}}, nil))
		return err
	})
	return list, err
}

func (c *cluster) databases() (list []string) {
	for _, name := range []string{c.database, c.shard()} {
		list = append(list, "CREATE DATABASE IF NOT EXISTS "+quoteName(name)+c.on())
	}
	return list
}

// versions make the table of the migrations and its twin.
func (c *cluster) versions() []string {
	rest, err := c.replicated(versionTable, strings.TrimPrefix(clickhouseVersions{}.CreateTable(""), "CREATE TABLE IF NOT EXISTS "))
	if err != nil {
		panic(err) // it is ours
	}
	return []string{"CREATE TABLE IF NOT EXISTS " + quoteName(c.shard()) + "." + versionTable + c.on() + rest, c.makeTwin(versionTable)}
}

func (c *cluster) makeTwin(name string) string {
	return fmt.Sprintf("CREATE TABLE IF NOT EXISTS %[1]s.%[3]s%[4]s AS %[2]s.%[3]s ENGINE = Distributed(%[5]s, %[2]s, %[3]s, %[6]s)",
		quoteName(c.database), quoteName(c.shard()), name, c.on(), quoteName(c.name), c.key())
}

func (c *cluster) dropTwin(name string) string {
	return "DROP TABLE IF EXISTS " + quoteName(c.database) + "." + name + c.on()
}

// prepare makes the databases, and what the migrations need to be counted.
func (c *cluster) prepare(ctx context.Context, conn driver.Conn) error {
	if err := c.profile(ctx, conn); err != nil {
		return err
	}
	if _, err := c.servers(ctx, conn); err != nil {
		return err
	}
	for _, statement := range append(c.databases(), c.versions()...) {
		if err := conn.Exec(ctx, statement); err != nil {
			return fmt.Errorf("history: make tables on cluster %s: %w", c.name, err)
		}
	}
	return nil
}

// isOther refuses a database that has tables for one server, and one for a
// cluster that is opened as if it were for one server.
func (c *cluster) isOther(ctx context.Context, conn driver.Conn) error {
	var engine string
	err := conn.QueryRow(ctx, "SELECT any(engine) FROM system.tables WHERE database = currentDatabase() AND name = ?", versionTable).Scan(&engine)
	switch {
	case err != nil:
		return fmt.Errorf("history: which tables are there: %w", err)
	case c == nil && engine == "Distributed":
		return fmt.Errorf("history: %w: the tables of this database are spread over a cluster: add ?%s=NAME", ErrAddress, clusterSetting)
	case c != nil && engine != "" && engine != "Distributed":
		return fmt.Errorf("history: %w: the tables of this database are for one server: %s wants a database of its own", ErrAddress, clusterSetting)
	}
	return nil
}

// twins makes the distributed table of each table and view that has none or one
// of other columns; there is nothing in them to be lost.
func (c *cluster) twins(ctx context.Context, conn driver.Conn) error {
	shard, err := columnsOf(ctx, conn, c.shard())
	if err != nil {
		return err
	}
	twins, err := columnsOf(ctx, conn, c.database)
	if err != nil {
		return err
	}
	var statements []string
	for _, table := range slices.Sorted(maps.Keys(twins)) {
		if twins[table] != shard[table] {
			statements = append(statements, c.dropTwin(table))
		}
	}
	for _, table := range slices.Sorted(maps.Keys(shard)) {
		if twins[table] != shard[table] {
			statements = append(statements, c.makeTwin(table))
		}
	}
	for _, statement := range statements {
		if err := conn.Exec(ctx, statement); err != nil {
			return fmt.Errorf("history: make tables on cluster %s: %w", c.name, err)
		}
	}
	return nil
}

// columnsOf returns the columns of each table and view of a database, in one
// text. What copies rows from table to table as they come is neither.
func columnsOf(ctx context.Context, conn driver.Conn, database string) (map[string]string, error) {
	rows, err := conn.Query(ctx, `SELECT table, name, type FROM system.columns WHERE database = ? AND (database, table) NOT IN (
		SELECT database, name FROM system.tables WHERE engine = 'MaterializedView')`, database)
	if err != nil {
		return nil, fmt.Errorf("history: which tables are there: %w", err)
	}
	defer rows.Close()
	columns := map[string]string{}
	for rows.Next() {
		var table, name, kind string
		if err := rows.Scan(&table, &name, &kind); err != nil {
			return nil, err
		}
		columns[table] += name + " " + kind + "\n"
	}
	return columns, rows.Err()
}
