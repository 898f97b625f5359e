package main

import (
	"context"
	"fmt"

	"canter.example/schemas/broker"
	"canter.example/schemas/club"
)

type prepareCmd struct {
	Club string `help:"Club file." type:"path" required:"" placeholder:"FILE" env:"CANTER_CLUB"`
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
	_, _ = fmt.Fprintf(std.out, "broker %s: streams are up to date\n", b.URL())
	h, err := c.openHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	_, err = fmt.Fprintln(std.out, "history: tables are up to date")
	return err
}
