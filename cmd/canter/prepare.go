package main

import (
	"context"
	"fmt"
	"io"

	"canter.example/schemas/broker"
	"canter.example/schemas/club"
)

type prepareCmd struct {
	Club string `help:"Club file." type:"path" required:"" placeholder:"FILE" env:"CANTER_CLUB"`
	telling
	places
	cluster
}

// Help is shown below the options.
func (prepareCmd) Help() string {
	return `Makes the streams of an external broker and the tables of the history, or brings
them up to date, and does nothing else. canter serve does so by itself when its
accounts may; where they may only do their roles' work, run this with accounts
that may more: before the first serve, after an upgrade, and after a change of
privacy: keep_files.

As JSON a line each for broker and history: part, address (not of a history, which
may hold a password), state.

Example:
  canter prepare --club club.yaml --nats tls://broker:4222 --nats-key staff.nk \
      --history clickhouse://admin:PASSWORD@db:9000/canter`
}

// Run makes streams and tables.
func (c *prepareCmd) Run(ctx context.Context, std streams) error {
	if c.NATS == "" {
		return usagef("canter prepare is for an external broker: name it with --nats; canter serve prepares an embedded one by itself")
	}
	cl, err := club.Load(c.Club)
	if err != nil {
		return err
	}
	cfg := c.brokerConfig("", cl.Privacy.KeepFiles)
	cfg.Replicas = c.Replicas
	b, err := broker.Open(ctx, cfg)
	if err != nil {
		return err
	}
	defer b.Close()
	c.say(std.out, prepared{"broker", b.URL(), "streams are up to date"})
	h, err := c.openHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	c.say(std.out, prepared{"history", "", "tables are up to date"}) // an address may hold a password
	return nil
}

// prepared is the JSON form of a part that is up to date.
type prepared struct {
	Part    string `json:"part"`
	Address string `json:"address"`
	State   string `json:"state"`
}

func (c *prepareCmd) say(w io.Writer, p prepared) {
	if c.json() {
		_ = jsonLines(w, p)
		return
	}
	if p.Address != "" {
		p.Part += " " + p.Address
	}
	_, _ = fmt.Fprintf(w, "%s: %s\n", p.Part, p.State)
}
