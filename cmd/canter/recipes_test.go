package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write golden files anew")

// recipe is one question of RECIPES.md with its statements.
type recipe struct {
	number, title string
	blocks        []block
}

// block is one statement and the engines it is for.
type block struct {
	sql     string
	engines []string
}

// leastRecipes is the least number of questions that the page answers: an empty
// page must not pass.
const leastRecipes = 20

var (
	recipeHead  = regexp.MustCompile(`(?m)^## (\d+)\. (.+)$`)
	recipeBlock = regexp.MustCompile("(?ms)^```([a-z]*) ?([^\n]*)\n(.*?)^```$")
)

func readRecipes(t *testing.T) []recipe {
	t.Helper()
	page, err := os.ReadFile(filepath.Join("..", "..", "schemas", "history", "RECIPES.md"))
	if err != nil {
		t.Fatal(err)
	}
	var list []recipe
	heads := recipeHead.FindAllSubmatchIndex(page, -1)
	for i, h := range heads {
		end := len(page)
		if i+1 < len(heads) {
			end = heads[i+1][0]
		}
		r := recipe{number: string(page[h[2]:h[3]]), title: string(page[h[4]:h[5]])}
		if r.number != fmt.Sprint(i+1) {
			t.Errorf("recipe %d is numbered %s", i+1, r.number)
		}
		for _, b := range recipeBlock.FindAllStringSubmatch(string(page[h[1]:end]), -1) {
			if b[1] != "sql" {
				t.Errorf("recipe %s has a block of %q, which nobody runs", r.number, b[1])
			}
			engines := strings.Fields(b[2])
			if len(engines) == 0 {
				engines = []string{"sqlite", "clickhouse"}
			}
			r.blocks = append(r.blocks, block{sql: b[3], engines: engines})
		}
		list = append(list, r)
	}
	return list
}

// statement returns the recipe's statement for an engine, "" when it has none.
func (r *recipe) statement(engine string) string {
	for _, b := range r.blocks {
		if slices.Contains(b.engines, engine) {
			return b.sql
		}
	}
	return ""
}

// recipes runs every recipe in both engines, holds the answers against each
// other and against testdata/recipes.golden.
func (a *analysts) recipes(t *testing.T) {
	list := readRecipes(t)
	if len(list) < leastRecipes {
		t.Errorf("%d recipes, want at least %d", len(list), leastRecipes)
	}
	var golden strings.Builder
	for _, r := range list {
		t.Run(r.number, func(t *testing.T) {
			one := ask(t, a.sqlite, r.statement("sqlite"))
			if len(one.Values) == 0 {
				t.Error("no rows: nothing was compared")
			}
			switch sql := r.statement("clickhouse"); {
			case sql != "":
				sameRows(t, one, ask(t, a.clickhouse, sql), true)
			case r.statement("clickhouse-current") == "" || !strings.Contains(r.title, "current releases only"):
				t.Error("there is no statement for ClickHouse, and the heading does not say why")
			}
			fmt.Fprintf(&golden, "## %s. %s\n", r.number, r.title)
			cells := make([][]string, len(one.Values))
			for i, v := range one.Values {
				cells[i] = texts(v)
			}
			if err := table(&golden, one.Columns, cells); err != nil {
				t.Fatal(err)
			}
			golden.WriteByte('\n')
		})
	}
	file := filepath.Join("testdata", "recipes.golden")
	if *update {
		if err := os.WriteFile(file, []byte(golden.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	sameLines(t, file, golden.String(), string(want))
}

// sameLines names the first line that differs from the golden file.
func sameLines(t *testing.T, file, got, want string) {
	t.Helper()
	if got == want {
		return
	}
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range min(len(g), len(w)) {
		if g[i] != w[i] {
			t.Errorf("%s:%d:\ngot  %s\nwant %s\nIf that is meant: go test ./cmd/canter -run TestAnalysts -update", file, i+1, g[i], w[i])
			return
		}
	}
	t.Errorf("%s has %d lines, the answers %d", file, len(w), len(g))
}
