package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"canter.example/cmd/canter/page"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"golang.org/x/sync/errgroup"
)

type serveCmd struct {
	Club  string `help:"Club file." type:"path" required:"" placeholder:"FILE" env:"CANTER_CLUB"`
	Roles string `help:"Parts to run in this process, of ingest, scorer, alerts, page." default:"ingest,scorer,alerts,page" env:"CANTER_ROLES"`
	places
	cluster
	AckWait time.Duration `help:"How long the broker waits for word of work in hand before it gives it to another process." default:"30s" env:"CANTER_ACK_WAIT"`
	Listen  string        `help:"Address of the embedded broker (default: loopback, a free port)." placeholder:"HOST:PORT"`
	Page    string        `help:"Address of the page for looking at traces, instead of the club file's; 'off' for none." placeholder:"HOST:PORT" env:"CANTER_PAGE"`
	Memory  int           `help:"How many MiB of memory to stay below where that can be done by tidying up more often; work that needs more gets it. 0 for no such aim. GOMEMLIMIT in the environment goes before it." default:"128" env:"CANTER_MEMORY"`
	Profile string        `help:"Folder for profiles of this run, for go tool pprof: where the processor's time went, and the heap at its largest." type:"path" placeholder:"DIR" hidden:""`
	HTTP    string        `name:"http" help:"Address of /livez, /readyz and /metrics; 'off' for none." default:"127.0.0.1:7465" placeholder:"HOST:PORT" env:"CANTER_HTTP"`
}

// Help is shown below the options.
func (serveCmd) Help() string {
	return `Watches the club's folders until it is told to stop (SIGTERM or Ctrl-C), then
finishes or gives back what it has in hand.

Examples:
  canter serve --club club.yaml
  canter serve --club club.yaml --data /var/lib/canter
  canter serve --club club.yaml --nats nats://broker:4222 \
      --history clickhouse://canter:PASSWORD@db:9000/canter --roles scorer`
}

// Run serves until ctx ends.
func (c *serveCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	roles, err := parseRoles(c.Roles)
	if err != nil {
		return err
	}
	if c.AckWait < time.Second {
		return usagef("--ack-wait %s: want a second or more", c.AckWait)
	}
	if c.Memory > 0 && os.Getenv("GOMEMLIMIT") == "" {
		hugePages(c.Memory * 3 / 4 << 20)
		debug.SetMemoryLimit(int64(c.Memory) << 20)
	}
	stop, err := profile(c.Profile)
	if err != nil {
		return err
	}
	defer stop()
	if c.NATS == "" && !(roles[roleIngest] && roles[roleScorer] && roles[roleAlerts]) {
		return usagef("--roles %s needs --nats: processes that share the work share a broker", c.Roles)
	}
	cl, err := club.Load(c.Club)
	if err != nil {
		return err
	}
	p := newPipeline(cl, log)
	defer p.close()
	g, ctx := errgroup.WithContext(ctx)
	if roles[roleIngest] {
		// Folders are listed, and what is in them settles, while the rest is opened.
		p.soon = newArchiveSoon()
		p.watch(p.soon)
		g.Go(func() error { return p.watcher.Run(ctx) })
	}
	g.Go(func() error {
		if err := c.open(ctx, p, roles, std.out); err != nil {
			return err
		}
		return c.serve(ctx, p, roles, log)
	})
	err = g.Wait()
	if p.broker != nil {
		log.Info("stopped")
	}
	return err
}

// open opens history and broker, one beside the other, and makes the parts that
// need them. Whoever calls it closes p, which may be half open after an error.
func (c *serveCmd) open(ctx context.Context, p *pipeline, roles map[role]bool, out io.Writer) error {
	opening, giveUp := context.WithCancel(ctx)
	defer giveUp()
	broken := make(chan error, 1)
	go func() {
		err := c.openBroker(opening, p, roles)
		if err != nil {
			giveUp()
		}
		broken <- err
	}()
	var err error
	if roles[roleScorer] || roles[roleAlerts] || roles[rolePage] {
		var h history.Store
		if h, err = c.openHistory(opening); err != nil {
			giveUp()
		} else {
			p.history = h
		}
	}
	// What failed first made the other give up, which says nothing.
	if other := <-broken; other != nil && (err == nil || errors.Is(err, context.Canceled)) {
		err = other
	}
	if err != nil {
		return err
	}
	if roles[roleAlerts] {
		if p.chat, err = newChat(p.club, p.history, out, c.Data); err != nil {
			return err
		}
	}
	p.build(roles)
	return nil
}

func (c *serveCmd) openBroker(ctx context.Context, p *pipeline, roles map[role]bool) error {
	cfg := c.brokerConfig(c.Listen, p.club.Privacy.KeepFiles)
	cfg.Replicas, cfg.AckWait = c.Replicas, c.AckWait
	if cfg.URL != "" {
		cfg.Role = nameOf(roles)
	}
	b, err := broker.Open(ctx, cfg)
	if errors.Is(err, broker.ErrInUse) {
		return fmt.Errorf("%s is in use by another canter: stop it, or name another --data folder", c.Data)
	}
	if err == nil {
		p.broker = b
	}
	return err
}

// serve runs the pipeline with its health server beside it.
func (c *serveCmd) serve(ctx context.Context, p *pipeline, roles map[role]bool, log *slog.Logger) error {
	// Both ports first: what has begun must be waited for.
	var health net.Listener
	if c.HTTP != "off" {
		var err error
		if health, err = net.Listen("tcp", c.HTTP); err != nil {
			return fmt.Errorf("health address: %w: choose another with --http, or --http off", err)
		}
	}
	var pg *page.Page
	var pageAt net.Listener
	if roles[rolePage] {
		var err error
		if pg, pageAt, err = c.listenPage(p); err != nil {
			if health != nil {
				_ = health.Close()
			}
			return err
		}
	}
	g, ctx := errgroup.WithContext(ctx)
	if pg != nil {
		g.Go(servePage(ctx, pg, pageAt))
	}
	if health != nil {
		log.Info("health", "ready", "http://"+health.Addr().String()+"/readyz", "alive", "http://"+health.Addr().String()+"/livez")
		g.Go(func() error { return serveHealth(ctx, health, p) })
	}
	log.Info("serving", "club", p.club.Name, "roles", c.Roles, "broker", p.broker.URL())
	g.Go(func() error { return p.run(ctx) })
	return g.Wait()
}

// nameOf joins roles in the order of the data's way.
func nameOf(roles map[role]bool) string {
	var names []string
	for _, r := range []role{roleIngest, roleScorer, roleAlerts, rolePage} {
		if roles[r] {
			names = append(names, string(r))
		}
	}
	return strings.Join(names, "-")
}

func parseRoles(list string) (map[role]bool, error) {
	roles := map[role]bool{}
	for r := range strings.SplitSeq(list, ",") {
		switch role(strings.TrimSpace(r)) {
		case roleIngest, roleScorer, roleAlerts, rolePage:
			roles[role(strings.TrimSpace(r))] = true
		default:
			return nil, usagef("--roles: %q is no role: choose from ingest, scorer, alerts, page", r)
		}
	}
	return roles, nil
}

// serveHealth answers /livez (the process is up), /readyz (broker, history
// and folders answer) and /metrics until ctx ends.
func serveHealth(ctx context.Context, l net.Listener, p *pipeline) error {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /livez", func(w http.ResponseWriter, _ *http.Request) { _, _ = fmt.Fprintln(w, "alive") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), 5*time.Second)
		defer cancel()
		if err := p.health(ctx); err != nil {
			http.Error(w, err.Error(), http.StatusServiceUnavailable)
			return
		}
		_, _ = fmt.Fprintln(w, "ready")
	})
	p.meters.Watch(p.broker, p.measured(), p.health, p.log)
	mux.Handle("GET /metrics", p.meters.Handler())
	srv := &http.Server{Handler: mux, MaxHeaderBytes: 16 << 10, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 10 * time.Second, IdleTimeout: time.Minute}
	stop := context.AfterFunc(ctx, func() {
		grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
		defer cancel()
		_ = srv.Shutdown(grace)
	})
	defer stop()
	if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("health server: %w", err)
	}
	return nil
}

// health is nil when the service can do its work.
func (p *pipeline) health(ctx context.Context) error {
	errs := []error{p.broker.Health(ctx)}
	if p.history != nil {
		errs = append(errs, p.history.Ping(ctx))
	}
	if p.watcher != nil {
		errs = append(errs, p.watcher.Health())
	}
	return errors.Join(errs...)
}
