package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"canter.example/schemas/broker"
	"canter.example/schemas/club"
)

// patience is how long a command waits for a running service to do what it
// was asked.
const patience = 60 * time.Second

// withPipeline lets a command publish events and waits until they are handled:
// by the service that runs on the broker, or, when the broker is the embedded
// one and nobody runs it, by a pipeline of this process that ends with it.
func (c places) withPipeline(ctx context.Context, std streams, log *slog.Logger, clubFile string, do func(p *pipeline) error) error {
	h, err := c.existingHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	cfg := c.brokerConfig("", 0)
	alone := false
	if c.NATS == "" {
		if addr, running := broker.Running(c.Data); running {
			cfg.URL, cfg.Token = addr.URL, addr.Token
		} else {
			alone = true
		}
	}
	var cl *club.Club
	if alone && clubFile == "" {
		return usagef("no canter serve runs on %s: give --club FILE, so that this command can do the work itself", c.Data)
	}
	if clubFile != "" {
		if cl, err = club.Load(clubFile); err != nil {
			return err
		}
		cfg.KeepFiles = cl.Privacy.KeepFiles
	}
	log = quieter(ctx, log, slog.LevelWarn)
	cfg.Join = !alone
	b, err := broker.Open(ctx, cfg)
	if err != nil {
		return err
	}
	defer b.Close()
	p := newPipeline(cl, log)
	p.broker, p.history = b, h
	if !alone {
		if err := do(p); err != nil {
			return err
		}
		return p.wait(ctx)
	}
	if p.chat, err = newChat(cl, h, std.out, c.Data); err != nil {
		return err
	}
	p.build(map[role]bool{roleScorer: true, roleAlerts: true})
	return p.during(ctx, func(ctx context.Context) error {
		if err := do(p); err != nil {
			return err
		}
		return p.wait(ctx)
	})
}

// during runs the pipeline while do runs.
func (p *pipeline) during(ctx context.Context, do func(ctx context.Context) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	ended := make(chan error, 1)
	go func() {
		err := p.run(ctx)
		cancel(err)
		ended <- err
	}()
	err := do(ctx)
	if cause := context.Cause(ctx); err != nil && cause != nil && !errors.Is(cause, context.Canceled) {
		err = cause
	}
	cancel(nil)
	if e := <-ended; err == nil {
		err = e
	}
	return err
}

// wait waits for all published work, with an end to its patience.
func (p *pipeline) wait(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	err := p.settled(ctx)
	if errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("published, but not handled within %s: is canter serve running with all roles, and is chat reachable?", patience)
	}
	return err
}
