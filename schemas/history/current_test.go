package history_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/ClickHouse/clickhouse-go/v2"

	"canter.example/schemas/history/historytest"
)

// TestMain gives a current engine, after the tests, every statement that canter
// sent to the ClickHouse server of 2018 while they ran, on the same tables
// without rows. Which these are says that server's log of statements.
func TestMain(m *testing.M) {
	code := m.Run()
	if server := logging.Load(); server != nil && code == 0 {
		if err := currentTakes(server); err != nil {
			fmt.Println("FAIL: a current ClickHouse engine refuses what canter sends to the server of 2018:\n", err)
			code = 1
		}
	}
	os.Exit(code)
}

// logging is the server whose log of statements is read, once there is one.
var logging atomic.Pointer[historytest.Server]

// logged is the address of a history on a server that keeps what it is asked.
func logged(tb testing.TB) string {
	address := historytest.ClickHouse(tb) + historytest.Logging
	logging.Store(historytest.SharedServer(tb))
	return address
}

func currentTakes(server *historytest.Server) error {
	statements, err := statementsSent(server)
	if err != nil {
		return err
	}
	const least = 50 // distinct statements, when all tests run
	if all := flag.Lookup("test.run").Value.String() == ""; all && len(statements) < least {
		return fmt.Errorf("only %d statements were logged", len(statements))
	}
	dir, err := os.MkdirTemp("", "canter-current-")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	engine, err := historytest.OpenCurrent(dir)
	if err != nil {
		return err
	}
	files, err := filepath.Glob("clickhouse/*.sql")
	if err != nil {
		return err
	}
	made := []string{"CREATE TABLE canter_migrations (version_id Int64, is_applied UInt8, stamp DateTime) ENGINE = MergeTree ORDER BY version_id"}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		made = append(made, strings.TrimSuffix(strings.TrimSpace(string(text)), ";"))
	}
	for _, sql := range append(made, statements...) {
		if e := engine.Exec(sql); e != nil {
			err = errors.Join(err, fmt.Errorf("%w\n%.2000s", e, sql))
		}
	}
	return errors.Join(err, engine.Close())
}

var (
	sqlText    = regexp.MustCompile(`'(?:[^'\\]|\\.|'')*'`)
	sqlNumber  = regexp.MustCompile(`\b-?\d+(?:\.\d+)?(?:e[+-]?\d+)?\b`)
	sqlList    = regexp.MustCompile(`\?(?:, ?\?)+`)
	sqlInsert  = regexp.MustCompile(`^(INSERT INTO (\S+) \(([^)]*)\)) FORMAT Native$`)
	notOfTests = regexp.MustCompile(`^(CREATE|DROP|OPTIMIZE|ALTER TABLE \S+\s+(ADD|MODIFY)|INSERT INTO \S+ [^;]*\sSELECT)`)
)

// statementsSent returns one statement of each kind that the server finished:
// those that differ in texts and numbers are of one kind. Migrations are left
// out, and rows that were sent are asked for instead.
func statementsSent(server *historytest.Server) ([]string, error) {
	options, err := clickhouse.ParseDSN(server.Address("system"))
	if err != nil {
		return nil, err
	}
	conn, err := clickhouse.Open(options)
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	ctx := context.Background()
	if err := conn.Exec(ctx, "SYSTEM FLUSH LOGS"); err != nil {
		return nil, err
	}
	rows, err := conn.Query(ctx, "SELECT query FROM query_log WHERE type = 2")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	kinds := map[string]string{}
	for rows.Next() {
		var sql string
		if err := rows.Scan(&sql); err != nil {
			return nil, err
		}
		sql = strings.TrimSpace(sql)
		if m := sqlInsert.FindStringSubmatch(sql); m != nil {
			sql = fmt.Sprintf("%s SELECT %s FROM %s LIMIT 0", m[1], m[3], m[2])
		} else if notOfTests.MatchString(sql) {
			continue
		}
		kind := sqlList.ReplaceAllString(sqlNumber.ReplaceAllString(sqlText.ReplaceAllString(sql, "?"), "?"), "?")
		if before, found := kinds[kind]; !found || len(sql) < len(before) {
			kinds[kind] = sql
		}
	}
	return slices.Sorted(maps.Values(kinds)), rows.Err()
}
