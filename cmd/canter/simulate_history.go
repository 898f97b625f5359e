package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"canter.example/cmd/canter/scale"
	"canter.example/schemas/history"
)

type simulateHistoryCmd struct {
	History     string `help:"History to fill and ask: SQLite file or ClickHouse address; an empty one." required:"" placeholder:"ADDRESS"`
	Clubs       int    `help:"Clubs, each with one squad." default:"5"`
	Athletes    int    `help:"Athletes of a club." default:"40"`
	Weeks       int    `help:"Weeks, with one test of every athlete in each." default:"520"`
	Assessed    int    `help:"The last weeks whose tests have an assessment." default:"52"`
	Recorded    int    `help:"The last weeks with five recordings of every athlete." default:"10"`
	Rescored    int    `help:"One file in so many is scored twice; 0 for none." default:"2000"`
	Seed        uint64 `help:"Seed of the random numbers; the same seed gives the same rows." default:"0"`
	Batch       int    `help:"Files that are saved in one write." default:"100000"`
	Writers     int    `help:"How many writes are under way at once." default:"2"`
	Questions   int    `help:"How often each question is asked; 0 to load only." default:"200"`
	MeasureOnly bool   `help:"Ask a history that an earlier run has filled with the same numbers."`
	Client      string `help:"The server's own client, for the bare insert of the same rows; '' for none." default:"" placeholder:"PROGRAM"`
	telling
}

// Help is shown below the options.
func (simulateHistoryCmd) Help() string {
	return `Fills an empty history with invented tests of many clubs, through the writers
that the service uses, and times what people ask of its views. deploy/SCALE.md
has the table for 10 million tests in ClickHouse and 1 million in SQLite.

As JSON a line for each kind of row written and for each question; about says which.
How much room the history takes goes to standard error then.

Examples:
  canter simulate history --history big.db --clubs 50
  canter simulate history --history clickhouse://default@localhost:9000/big --clubs 500 --client clickhouse-client`
}

// Run prints the report.
func (c *simulateHistoryCmd) Run(ctx context.Context, std streams, _ *slog.Logger) (err error) {
	if c.Clubs < 1 || c.Athletes < 1 || c.Weeks < 1 || c.Batch < 1 || c.Assessed < 0 || c.Recorded < 0 || c.Rescored < 0 || c.Questions < 0 {
		return usagef("--clubs, --athletes, --weeks and --batch: choose 1 or more; nothing may be below 0")
	}
	if c.Client != "" && !scale.OnClickHouse(c.History) {
		return usagef("--client is for a history in ClickHouse")
	}
	s, err := history.Open(ctx, c.History)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	p := scale.Plan{Clubs: c.Clubs, Athletes: c.Athletes, Weeks: c.Weeks, Assessed: c.Assessed, Recorded: c.Recorded, Rescored: c.Rescored, Seed: c.Seed, Batch: c.Batch, Writers: c.Writers}
	if !c.MeasureOnly {
		if err := c.load(ctx, std, s, &p); err != nil {
			return err
		}
	}
	if c.Questions == 0 {
		return nil
	}
	if err := scale.WriteSize(ctx, aside(std, c.json()).out, s, c.History); err != nil {
		return err
	}
	all, err := p.Measure(ctx, s, c.History, c.Questions, std.err)
	if err != nil {
		return err
	}
	if c.json() {
		for i := range all {
			if err := jsonLines(std.out, all[i].Line()); err != nil {
				return err
			}
		}
		return nil
	}
	return scale.WriteMeasured(std.out, all)
}

func (c *simulateHistoryCmd) load(ctx context.Context, std streams, s history.Store, p *scale.Plan) error {
	fmt.Fprintf(std.err, "%d clubs of %d athletes, %d weeks: %d tests\n", p.Clubs, p.Athletes, p.Weeks, p.Tests())
	loaded, err := p.Load(ctx, s, std.err)
	if err != nil {
		return err
	}
	var bare *scale.Bare
	if c.Client != "" {
		if bare, err = scale.BareInsert(ctx, c.Client, c.History, loaded); err != nil {
			return err
		}
	}
	if c.json() {
		return jsonLines(std.out, loaded.Lines(bare)...)
	}
	scale.WriteLoaded(std.out, loaded, bare)
	return nil
}
