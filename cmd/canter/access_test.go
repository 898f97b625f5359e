package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/ClickHouse/clickhouse-go/v2"

	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// access logs in to the server with the account that deploy/ has for analysts.
func (a *analysts) access(t *testing.T) {
	const password = "reads-and-no-more"
	address := a.analystAccount(t, "canter_reader", password)
	other := historytest.NewDatabase()
	if err := a.exec(t, a.server.Address("default"), "CREATE DATABASE "+other); err != nil {
		t.Fatal(err)
	}
	if err := a.exec(t, a.server.Address(other), "CREATE TABLE tests (a UInt8) ENGINE = Memory"); err != nil {
		t.Fatal(err)
	}

	for _, name := range history.Names() {
		if got := ask(t, address, "SELECT count(*) FROM "+name); len(got.Values) != 1 {
			t.Errorf("%s: %v", name, got.Values)
		}
	}
	for _, r := range readRecipes(t) {
		if sql := r.statement("clickhouse"); sql != "" {
			ask(t, address, sql)
		}
	}
	refused := refusedToAnalysts(other)
	refused["take more rows than one answer"] = "SELECT second FROM trace_seconds ARRAY JOIN range(40) AS x"
	for what, sql := range refused {
		if err := a.exec(t, address, sql); err == nil {
			t.Errorf("the account could %s: %s", what, sql)
		}
	}
	if _, err := history.OpenReader(t.Context(), a.server.AddressFor("canter_reader", "guess", a.database)); err == nil {
		t.Error("a wrong password was good enough")
	}
	t.Run("time", func(t *testing.T) { // the account's minute, made a second for the test
		hurried := a.analystAccount(t, "canter_hurried", password, "<max_execution_time>60<", "<max_execution_time>1<")
		err := a.exec(t, hurried, "SELECT count() FROM (SELECT sleep(0.3) FROM system.numbers LIMIT 3000000)")
		if e, ok := errors.AsType[*clickhouse.Exception](err); !ok || e.Code != 159 {
			t.Errorf("a query that takes too long ended with %v", err)
		}
	})
	t.Run("names", a.namesStayOut)
	t.Run("the service", func(t *testing.T) { a.serviceAccount(t, other) })
	t.Run("canter sql", func(t *testing.T) {
		out := command(t, "sql", "--history", address, "--format", "csv", "SELECT count(*) AS athletes FROM athletes")
		if out != "athletes\n28\n" {
			t.Errorf("got %q", out)
		}
		var errs bytes.Buffer
		if code := run(context.Background(), []string{"sql", "--history", address, "DROP TABLE stored_tests"}, streams{out: &errs, err: &errs}); code != exitFailed {
			t.Errorf("exit code %d: %s", code, errs.String())
		}
	})
}

// serviceAccount logs in with the account that deploy/ has for canter itself: it
// makes its database and its tables, and has nothing to do with others'.
func (a *analysts) serviceAccount(t *testing.T, other string) {
	const user, password = "canter_service", "writes-its-own"
	own := historytest.NewDatabase()
	addAccount(t, a.server, "clickhouse-service.xml", user+".xml", password,
		"<canter>", "<"+user+">", "</canter>", "</"+user+">", "<database>canter<", "<database>"+own+"<")
	waitForAccount(t, a.server.AddressFor(user, password, "system"))
	store, err := history.Open(t.Context(), a.server.AddressFor(user, password, own))
	if err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Error(err)
	}
	address := a.server.AddressFor(user, password, own)
	for _, sql := range []string{"SELECT count() FROM " + other + ".tests", "DROP TABLE " + other + ".tests", "INSERT INTO " + a.database + ".stored_slots (job) SELECT 'a'", "CREATE DATABASE " + historytest.NewDatabase()} {
		if err := a.exec(t, address, sql); err == nil {
			t.Errorf("the account could %s", sql)
		}
	}
}

// refusedToAnalysts are statements that an analyst's account must not get
// through; other is a database of somebody else's with a table tests.
func refusedToAnalysts(other string) map[string]string {
	return map[string]string{
		"write a row":                   "INSERT INTO stored_slots (job, slot, done_ms) SELECT 'a', 'b', 1",
		"take a table away":             "DROP TABLE stored_tests",
		"take rows away":                "ALTER TABLE stored_tests DELETE WHERE 1",
		"make a table":                  "CREATE TABLE x (a UInt8) ENGINE = Memory",
		"make a temporary table":        "CREATE TEMPORARY TABLE x (a UInt8)",
		"raise its own limits":          "SET max_execution_time = 0",
		"become a writer":               "SET readonly = 0",
		"read a file":                   "SELECT * FROM file('x.csv', 'CSV', 'a String')",
		"reach out":                     "SELECT * FROM url('http://127.0.0.1:1/', 'CSV', 'a String')",
		"ask another server":            "SELECT * FROM remote('127.0.0.1', 'system', 'one')",
		"read another database":         "SELECT count() FROM " + other + ".tests",
		"read more rows than it should": "SELECT max(number) FROM (SELECT number FROM system.numbers LIMIT 400000000)",
	}
}

// The account of deploy/ means the same to a server of a current release, as far
// as an engine without a network can tell: it may ask all that it should, and
// nothing else.
func TestTheAnalystsAccountOnACurrentEngine(t *testing.T) {
	dir := t.TempDir()
	owner, err := historytest.OpenCurrent(dir)
	if err != nil {
		t.Fatal(err)
	}
	migrateCurrent(t, owner)
	for _, sql := range []string{"CREATE DATABASE other", "CREATE TABLE other.tests (a UInt8) ENGINE = MergeTree ORDER BY a"} {
		if err := owner.Exec(sql); err != nil {
			t.Fatal(err)
		}
	}
	if err := owner.Close(); err != nil {
		t.Fatal(err)
	}
	analyst := openAsAnalyst(t, dir)
	for _, name := range history.Names() {
		askCurrent(t, analyst, "SELECT count(*) FROM "+name)
	}
	for _, r := range readRecipes(t) {
		sql := r.statement("clickhouse-current")
		if sql == "" {
			sql = r.statement("clickhouse")
		}
		askCurrent(t, analyst, sql)
	}
	refused := refusedToAnalysts("other")
	refused["take more rows than one answer"] = "SELECT number FROM numbers(3000000)"
	for what, sql := range refused {
		if _, err := analyst.Text(sql, "Null"); err == nil {
			t.Errorf("the account could %s: %s", what, sql)
		}
	}
}

// openAsAnalyst opens an engine with the account of deploy/clickhouse-analyst.xml
// in place of its own.
func openAsAnalyst(t *testing.T, dir string) *historytest.Current {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "deploy", "clickhouse-analyst.xml"))
	if err != nil {
		t.Fatal(err)
	}
	users := strings.NewReplacer("<yandex>", "<clickhouse>", "</yandex>", "</clickhouse>",
		"<analyst>", "<default>", "</analyst>", "</default>", "<profiles>", "<profiles><default/>", "<quotas>", "<quotas><default/>",
		"<password_sha256_hex>"+strings.Repeat("0", 64)+"</password_sha256_hex>", "<password></password>").Replace(string(text))
	file := filepath.Join(dir, "users.xml")
	if err := os.WriteFile(file, []byte(users), 0o600); err != nil {
		t.Fatal(err)
	}
	engine, err := historytest.OpenCurrentAs(dir, file)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := engine.Close(); err != nil {
			t.Error(err)
		}
	})
	return engine
}

// namesStayOut: with privacy on ids the account finds no name and no year of
// birth, wherever it looks.
func (a *analysts) namesStayOut(t *testing.T) {
	cl, err := club.Load(a.club)
	if err != nil {
		t.Fatal(err)
	}
	cl.Privacy.HistoryNames = club.ShowID
	private := *a
	private.database = historytest.NewDatabase()
	h, err := history.Open(t.Context(), a.server.Address(private.database))
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(h.SaveAthletes(t.Context(), athleteRows(cl, time.Now())), h.Close()); err != nil {
		t.Fatal(err)
	}
	address := private.analystAccount(t, "canter_private", "reads-ids")
	for _, table := range []string{"athletes", "stored_athletes"} {
		rows := ask(t, address, "SELECT athlete, name, birth_year FROM "+table)
		if len(rows.Values) != len(cl.Athletes) {
			t.Errorf("%s has %d rows, want %d", table, len(rows.Values), len(cl.Athletes))
		}
		for _, v := range rows.Values {
			if v[1] != v[0] || v[2] != nil {
				t.Errorf("%s says %v", table, v)
			}
		}
	}
}

// exec runs a statement as it stands, past canter's own refusal of writes.
func (a *analysts) exec(t *testing.T, address, sql string) error {
	t.Helper()
	options, err := clickhouse.ParseDSN(address)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := clickhouse.Open(options)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if !strings.HasPrefix(sql, "SELECT") {
		return conn.Exec(t.Context(), sql)
	}
	rows, err := conn.Query(t.Context(), sql)
	if err != nil {
		return err
	}
	for rows.Next() {
	}
	return errors.Join(rows.Err(), rows.Close())
}

// analystAccount gives the server the account of deploy/clickhouse-analyst.xml,
// under another name, with changes and for this test's database, and waits until
// it is there.
func (a *analysts) analystAccount(t *testing.T, user, password string, changes ...string) string {
	t.Helper()
	changes = append(changes, "<analyst>", "<"+user+">", "</analyst>", "</"+user+">",
		"canter_analyst>", user+"_kind>", ">canter_analyst<", ">"+user+"_kind<",
		"<database>canter<", "<database>"+a.database+"<")
	addAnalyst(t, a.server, user+".xml", password, changes...)
	return waitForAccount(t, a.server.AddressFor(user, password, a.database))
}

// addAnalyst puts deploy/clickhouse-analyst.xml, with changes, beside a server's
// accounts.
func addAnalyst(t *testing.T, server *historytest.Server, file, password string, changes ...string) {
	t.Helper()
	addAccount(t, server, "clickhouse-analyst.xml", file, password, changes...)
}

// addAccount puts a file of deploy/, with changes, beside a server's accounts.
func addAccount(t *testing.T, server *historytest.Server, from, file, password string, changes ...string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "deploy", from))
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256([]byte(password))
	changes = append(changes, strings.Repeat("0", 64), hex.EncodeToString(sum[:]))
	if err := server.AddUsers(file, strings.NewReplacer(changes...).Replace(string(text))); err != nil {
		t.Fatal(err)
	}
}

// waitForAccount returns the address when the server knows its account.
func waitForAccount(t *testing.T, address string) string {
	t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		r, err := history.OpenReader(t.Context(), address)
		if err == nil {
			_ = r.Close()
			return address
		}
		if time.Now().After(deadline) {
			t.Fatalf("the server does not know the account: %v", err)
		}
	}
}
