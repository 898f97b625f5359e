package main

import (
	"strings"
	"testing"

	"canter.example/schemas/history"
	"canter.example/schemas/history/historytest"
)

// cluster asks the same season of a cluster of servers, with the analyst's
// account: its tables are distributed, and the answers are those of SQLite.
func (a *analysts) cluster(t *testing.T) {
	const password = "reads-and-no-more"
	cluster, database := historytest.SharedCluster(t), historytest.ClusterDatabase
	if err := copyHistory(t.Context(), a.sqlite, cluster.Address(2, database)); err != nil {
		t.Fatal(err)
	}
	addAnalyst(t, cluster.Servers[2], "clickhouse-analyst.xml", password, "<analyst>", "<reader>", "</analyst>", "</reader>",
		"<database>canter</database>", "<database>"+database+"</database><database>"+database+"_shard</database>")
	address := waitForAccount(t, cluster.Servers[2].AddressFor("reader", password, database)+"?canter_cluster="+historytest.ClusterName)
	t.Run("views", func(t *testing.T) {
		for _, name := range history.Names() {
			t.Run(name, func(t *testing.T) {
				query := a.everyRow(name)
				one := ask(t, a.sqlite, query)
				if name == "slots" { // marks of the schedule are not copied
					one.Values = nil
				}
				sameRows(t, one, ask(t, address, query), false)
			})
		}
	})
	t.Run("recipes", func(t *testing.T) {
		for _, r := range readRecipes(t) {
			if sql := r.statement("clickhouse"); sql != "" {
				t.Run(r.number, func(t *testing.T) {
					sameRows(t, ask(t, a.sqlite, r.statement("sqlite")), ask(t, address, sql), true)
				})
			}
		}
	})
	plain, _, _ := strings.Cut(address, "?")
	if err := a.exec(t, plain, "SELECT count() FROM tests"); err != nil {
		t.Fatal(err)
	}
	for what, sql := range map[string]string{
		"write a row":          "INSERT INTO slots (job, slot, done_ms) SELECT 'a', 'b', 1",
		"take rows away":       "ALTER TABLE " + database + "_shard.stored_tests DELETE WHERE 1",
		"do it on all servers": "DROP TABLE " + database + ".tests ON CLUSTER " + historytest.ClusterName,
	} {
		if err := a.exec(t, plain, sql); err == nil {
			t.Errorf("the account could %s: %s", what, sql)
		}
	}
}
