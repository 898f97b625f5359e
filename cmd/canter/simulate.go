package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"

	"canter.example/alerts/simulate"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/scorer/engine/simulate/holdout"
	"canter.example/scorer/engine/simulate/trial"
)

type simulateCmd struct {
	Tests   simulateTestsCmd   `cmd:"" help:"How often starts and numbers are wrong, on traces of known truth."`
	Alerts  simulateAlertsCmd  `cmd:"" help:"How often alerts are wrong, and how soon they are right, on squads of known noise."`
	History simulateHistoryCmd `cmd:"" help:"How fast the history takes and answers, with years of tests of many clubs."`
}

type simulateAlertsCmd struct {
	Squads   int    `help:"Squads for each line of the table." default:"40"`
	Athletes int    `help:"Athletes of a squad." default:"22"`
	Seed     uint64 `help:"Seed of the random numbers; the same seed gives the same table." default:"0"`
	Club     string `help:"Club file whose thresholds and rules are tried; the defaults when left out." type:"path" placeholder:"FILE" env:"CANTER_CLUB"`
	telling
}

// Help is shown below the options.
func (simulateAlertsCmd) Help() string {
	return `Plays squads through the assessment and rules that the service runs: nothing
happens, athletes change by a step or little by little, a hot day for all. Try
it before changing thresholds or rules; alerts/ERRORRATES.md has the defaults.

Examples:
  canter simulate alerts --squads 10
  canter simulate alerts --club club.yaml

As JSON a line for each row of each table: hrex_te and hrr_te (the noise), table,
row, and its figures; rates are in 40 tests or a hot day, shares are 0 to 1, and
NAME_se is the standard error of NAME, null when one squad was played.`
}

// Run prints the table.
func (c *simulateAlertsCmd) Run(ctx context.Context, std streams, _ *slog.Logger) error {
	if c.Squads < 1 || c.Athletes < 1 || c.Athletes > 200 {
		return usagef("--squads and --athletes: choose 1 or more, and at most 200 athletes")
	}
	o := simulate.Options{Squads: c.Squads, Athletes: c.Athletes, Seed: c.Seed}
	if c.Club != "" {
		cl, err := club.Load(c.Club)
		if err != nil {
			return err
		}
		o.Thresholds = &cl.Thresholds
	}
	if !c.json() {
		return simulate.Report(std.out, o, ctx.Err)
	}
	return simulate.Each(o, func(r simulate.Row) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		names, values := []string{"hrex_te", "hrr_te", "table", "row"}, []any{r.Noise.HRex, r.Noise.HRR, r.Table, r.Name}
		for _, f := range r.Figures {
			names, values = append(names, f.Key), append(values, schemas.Num(f.Value))
			if f.Form.HasSE() {
				names, values = append(names, f.Key+"_se"), append(values, schemas.Num(f.SE))
			}
		}
		return rowJSON(std.out, names, values)
	})
}

type simulateTestsCmd struct {
	Sessions int    `help:"Sessions to invent, 1 to 100000." default:"1000"`
	Seed     uint64 `help:"Seed of the random numbers; the same seed gives the same table." default:"0"`
	HoldOut  bool   `name:"hold-out" help:"Invent them with the second generator, which the scorer was not made with."`
	telling
}

// Help is shown below the options.
func (simulateTestsCmd) Help() string {
	return `Invents sessions with known truth, with every artefact at graded severity and
every trap, and scores them: the share of starts within 5 s, the error of HRex
and HRR, and good tests that are wrong. scorer/engine/testdata has the tables
of both generators over 10,000 sessions.

As JSON a line for each scenario and severity, for each group of them, and for each
step of the stated confidence: table says which.

Examples:
  canter simulate tests
  canter simulate tests --sessions 10000 --hold-out`
}

// Run prints the table.
func (c *simulateTestsCmd) Run(std streams) error {
	if c.Sessions < 1 || c.Sessions > 100_000 {
		return usagef("--sessions %d: want 1 to 100000", c.Sessions)
	}
	var table trial.Table
	if c.HoldOut {
		table = trial.RunWith(holdout.Scenarios, holdout.Make, c.Sessions, c.Seed)
	} else {
		table = trial.Run(c.Sessions, c.Seed)
	}
	if c.json() {
		return tableJSON(std.out, &table)
	}
	_, err := fmt.Fprint(std.out, table.Text())
	return err
}

func tableJSON(w io.Writer, t *trial.Table) error {
	type row struct {
		Table string `json:"table"`
		trial.Row
	}
	type bin struct {
		Table string `json:"table"`
		trial.Bin
	}
	for _, r := range t.Rows {
		if err := jsonLines(w, row{"scenarios", r}); err != nil {
			return err
		}
	}
	for _, r := range t.Groups {
		if err := jsonLines(w, row{"groups", r}); err != nil {
			return err
		}
	}
	for _, b := range t.Reliability {
		if err := jsonLines(w, bin{"confidence of the start", b}); err != nil {
			return err
		}
	}
	return nil
}
