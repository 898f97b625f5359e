package main

import (
	"context"
	"fmt"
	"strings"

	"canter.example/schemas/history"
)

type sqlCmd struct {
	Query  string `arg:"" help:"One reading statement."`
	Format string `help:"Form of the answer: ${enum}." enum:"table,csv,json" default:"table"`
	Limit  int    `help:"Most rows to print; 0 for all." default:"10000"`
	places
}

// Help is shown below the options.
func (sqlCmd) Help() string {
	return `Tables and views, of the same names and columns in SQLite and ClickHouse:
  ` + strings.Join(history.Names(), ", ") + `.
What they hold: schemas/history/DICTIONARY.md, which canter export writes as well.
Questions with their SQL: schemas/history/RECIPES.md.

Examples:
  canter sql "SELECT athlete, start, hrex_pct, hrr60_bpm FROM tests ORDER BY start DESC" --limit 20
  canter sql "SELECT athlete, local_date, hrex_pct, trimp_3d, coverage_3d FROM tests_with_load ORDER BY start"
  canter sql --format csv "SELECT * FROM assessments WHERE measure = 'hrex'" > hrex.csv`
}

// Run answers one query.
func (c *sqlCmd) Run(ctx context.Context, std streams) error {
	r, err := c.readHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = r.Close() }()
	rows, err := r.Query(ctx, c.Query, c.Limit)
	if err != nil {
		return err
	}
	if err := writeRows(std.out, rows, c.Format); err != nil {
		return err
	}
	if rows.More {
		_, _ = fmt.Fprintf(std.err, "canter: more than %d rows; raise --limit or narrow the query\n", c.Limit)
	}
	return nil
}
