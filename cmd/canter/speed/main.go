// Command speed measures canter against the targets of its design and prints
// one table, all rows of one run:
//
//	go run ./cmd/canter/speed            (make speed)
//
// It builds the program, makes invented seasons, and runs the real service as a
// process of its own with a real folder, broker, history and chat server. What
// it compares with (the bare decoding of the same files, scripts on general
// libraries) runs in the same minutes on the same machine. Nothing else should
// run there meanwhile. Start reading at measure.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"strings"
	"text/tabwriter"
	"time"
)

// row is one line of the table.
type row struct {
	what, measured, target string
	// met is "yes", "no", or "" where there is no target.
	met string
}

// bench is one run.
type bench struct {
	dir    string
	canter string // the program
	files  int
	many   int
	// profile is a folder for profiles of the services, "" for none.
	profile string
	rows    []row
}

func main() { os.Exit(run()) }

func run() (code int) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	files := flag.Int("files", 2000, "files through the pipeline")
	many := flag.Int("many", 10_000, "files for the memory's row")
	only := flag.String("only", "", "comma-separated parts: decode, pipeline, latency, session, ready, memory, scripts (default: all)")
	profile := flag.String("profile", "", "folder for profiles of each service, processor and heap")
	flag.Parse()
	dir, err := os.MkdirTemp("", "canter-speed-")
	if err != nil {
		fmt.Fprintln(os.Stderr, "speed:", err)
		return 1
	}
	if os.Getenv("KEEP") == "" {
		defer func() { _ = os.RemoveAll(dir) }()
	}
	b := &bench{dir: dir, canter: filepath.Join(dir, "canter"), files: *files, many: *many, profile: *profile}
	err = b.measure(ctx, *only)
	b.print()
	if err != nil {
		fmt.Fprintln(os.Stderr, "speed:", err)
		return 1
	}
	return 0
}

// measure runs the parts one after the other; one that fails does not keep the
// others from their rows.
func (b *bench) measure(ctx context.Context, only string) error {
	build := exec.CommandContext(ctx, "go", "build", "-o", b.canter, "./cmd/canter")
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("build: %w\n%s(run it from the project's root)", err, out)
	}
	var failed []error
	for _, part := range []struct {
		name string
		run  func(context.Context) error
	}{
		{"decode", b.decode}, {"pipeline", b.pipeline}, {"latency", b.latency}, {"session", b.session},
		{"ready", b.ready}, {"memory", b.memory}, {"scripts", b.scripts},
	} {
		if only != "" && !strings.Contains(","+only+",", ","+part.name+",") {
			continue
		}
		fmt.Fprintf(os.Stderr, "%s …\n", part.name)
		if err := part.run(ctx); err != nil {
			failed = append(failed, fmt.Errorf("%s: %w", part.name, err))
			b.add(part.name, "could not be measured, see below", "", false)
		}
	}
	return errors.Join(failed...)
}

// add puts a row into the table; met is left out where there is no target.
func (b *bench) add(what, measured, target string, met ...bool) {
	r := row{what: what, measured: measured, target: target}
	if len(met) == 1 {
		r.met = "no"
		if met[0] {
			r.met = "yes"
		}
	}
	b.rows = append(b.rows, r)
}

func (b *bench) print() {
	fmt.Printf("%s, %d cores, %s\n\n", time.Now().Format(time.DateOnly), runtime.GOMAXPROCS(0), runtime.Version())
	w := tabwriter.NewWriter(os.Stdout, 0, 4, 1, ' ', 0)
	_, _ = fmt.Fprintln(w, "| what\t| measured\t| target\t| met\t|")
	_, _ = fmt.Fprintln(w, "|---\t|---\t|---\t|---\t|")
	for _, r := range b.rows {
		_, _ = fmt.Fprintf(w, "| %s\t| %s\t| %s\t| %s\t|\n", r.what, r.measured, r.target, r.met)
	}
	_ = w.Flush()
}
