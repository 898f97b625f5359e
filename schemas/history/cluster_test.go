package history_test

import (
	"errors"
	"regexp"
	"strings"
	"testing"

	"canter.example/schemas"
	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// The contract holds on a cluster (see engines); here is what is the cluster's
// own affair.

// Every statement that makes the tables of a cluster is one that servers of
// current releases understand; those of 2018 run them in the contract.
func TestCurrentServersUnderstandTheClusterForm(t *testing.T) {
	t.Parallel()
	engine := historytest.NewCurrent(t)
	statements, err := history.ClusterMigrations("clubs", "club_17")
	ok(t, err)
	replicated, distributed := 0, 0
	for _, sql := range statements {
		tree, err := engine.Text("EXPLAIN AST "+sql, "TSVRaw")
		if err != nil {
			t.Errorf("%v\n%s", err, sql)
		}
		// What changes, copies or settles a table runs on each shard by itself.
		within := regexp.MustCompile("^(INSERT INTO|OPTIMIZE TABLE|ALTER TABLE) `club_17_shard`\\.")
		if !strings.Contains(sql, " ON CLUSTER `clubs`") && !within.MatchString(sql) {
			t.Errorf("it would run on one server only: %s", sql)
		}
		replicated += strings.Count(tree, "Function Replicated")
		distributed += strings.Count(tree, "Function Distributed")
	}
	if replicated < 10 || distributed < len(history.Names()) {
		t.Errorf("%d replicated and %d distributed tables, fewer than there are tables", replicated, distributed)
	}
}

// A club's rows are on all replicas of one shard and nowhere else, whichever
// replica was away while they were written; nothing acknowledged is missing
// when it is back, and nothing is there twice.
func TestReplicasThatWereAwayCatchUp(t *testing.T) {
	t.Parallel()
	cluster := historytest.NewCluster(t)
	s, servers := open(t, cluster.Address(2, historytest.ClusterDatabase)), cluster.Servers
	save(t, s, file(0, 1), outcomeOf(0))
	for away := range 2 {
		ok(t, servers[away].Kill())
		err := s.SaveFile(t.Context(), file(1+away, 1), []schemas.Outcome{outcomeOf(1 + away)}, nil)
		ok(t, errors.Join(servers[away].Start(), err))
		ok(t, cluster.Settle(historytest.ClusterDatabase))
	}
	same(t, "tests", one(t, s, "SELECT count(*) FROM tests"), 3)
	for i, want := range []uint64{3, 3, 0} {
		conn := connect(t, servers[i].Address(historytest.ClusterDatabase+"_shard"))
		for _, table := range []string{"stored_file_writes", "stored_tests"} {
			var n uint64
			ok(t, conn.QueryRow(t.Context(), "SELECT count() FROM "+table).Scan(&n))
			same(t, table, n, want)
		}
	}
}

func outcomeOf(n int) schemas.Outcome {
	f := file(n, 1)
	return outcome(&f, 0, "anna")
}

// Rows may come again just as they were after they were erased: the servers must
// not take them for a repeated block.
func TestWhatWasErasedMayComeAgain(t *testing.T) {
	t.Parallel()
	eachEngine(t, func(t *testing.T, s history.Store) {
		f := file(0, 1)
		save(t, s, f, outcome(&f, 0, "anna"))
		_, err := s.Erase(t.Context(), history.Erasure{Athlete: "anna", Files: []schemas.FileID{f.ID}})
		ok(t, err)
		same(t, "tests", one(t, s, "SELECT count(*) FROM tests"), 0)
		save(t, s, f, outcome(&f, 0, "anna"))
		same(t, "tests", one(t, s, "SELECT count(*) FROM tests"), 1)
	})
}

// The two forms of a database don't mix, and what is wrong is said.
func TestTheFormOfADatabaseIsKept(t *testing.T) {
	t.Parallel()
	cluster := historytest.ClusterHistory(t)
	s := open(t, cluster)
	plain, _, _ := strings.Cut(cluster, "?")
	ok(t, s.Ping(t.Context()))
	if _, err := history.Open(t.Context(), plain); !errors.Is(err, history.ErrAddress) || !strings.Contains(err.Error(), "?canter_cluster=NAME") {
		t.Errorf("a cluster's tables were opened as those of one server: %v", err)
	}
	if r, err := history.OpenReader(t.Context(), cluster); err != nil {
		t.Error(err)
	} else {
		same(t, "files", one(t, r, "SELECT count(*) FROM files"), 0)
		ok(t, r.Close())
	}
	single := historytest.ClickHouse(t)
	open(t, single)
	if _, err := history.Open(t.Context(), single+"?canter_cluster=clubs"); err == nil || !strings.Contains(err.Error(), "for one server") {
		t.Errorf("tables of one server were opened as a cluster's: %v", err)
	}
	other := historytest.ClickHouse(t)
	if _, err := history.Open(t.Context(), other+"?canter_cluster=clubs"); err == nil || !strings.Contains(err.Error(), "distributed_product_mode") {
		t.Errorf("a server without a cluster's settings was good enough: %v", err)
	}
	if _, err := history.Open(t.Context(), single+"?canter_cluster="); !errors.Is(err, history.ErrAddress) {
		t.Errorf("a cluster without a name: %v", err)
	}
}
