// Command canter watches for heart-rate files, scores the submaximal fitness
// test inside each, compares it with the athlete's own history and tells staff
// what deserves a look.
//
// Each subcommand has a file of its own. Here and in parts.go the stages meet
// and the parts are wired; nowhere else do they know of each other.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"
	_ "time/tzdata" // a container may have no zone data; clubs have zones

	"canter.example/schemas/club"
	"github.com/alecthomas/kong"
)

// Exit codes.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2
)

// cli is the command line.
type cli struct {
	LogLevel  string `help:"Least important log lines to write to standard error: ${enum}." enum:"debug,info,warn,error" default:"${log_level}" env:"CANTER_LOG_LEVEL"`
	LogFormat string `help:"Form of log lines: ${enum}." enum:"text,json" default:"text" env:"CANTER_LOG_FORMAT"`

	Serve    serveCmd    `cmd:"" help:"Watch the club's folders, score the tests in new files, tell staff what deserves a look."`
	Demo     demoCmd     `cmd:"" help:"Make an invented club's season and run the real pipeline over it."`
	Score    scoreCmd    `cmd:"" help:"Score files without services or history."`
	Check    checkCmd    `cmd:"" help:"Read the club file strictly, try folders, broker, database and chat, and say what serve would do."`
	Tests    testsCmd    `cmd:"" help:"List and show tests; leave out a bad trace, accept a doubtful one, move a start."`
	Alerts   alertsCmd   `cmd:"" help:"List alerts; mark one as seen, write a note to it."`
	Parked   parkedCmd   `cmd:"" help:"Files that could not be handled: list, show, put through again, let go."`
	Page     pageCmd     `cmd:"" help:"Who may sign in to the page that serve offers."`
	SQL      sqlCmd      `cmd:"" name:"sql" help:"Run a read-only query on the history."`
	Report   reportCmd   `cmd:"" help:"Write a session's report: one HTML page with table, traces and histories."`
	Digest   digestCmd   `cmd:"" help:"Sum up a squad's week or month, as chat is told."`
	Simulate simulateCmd `cmd:"" help:"Try settings on invented data of known truth."`
	Export   exportCmd   `cmd:"" help:"Write the history's tables and views as CSV or Parquet, with a data dictionary."`
	Erase    eraseCmd    `cmd:"" help:"Take one athlete out of history and archive for good."`
	Prepare  prepareCmd  `cmd:"" help:"Make the streams of an external broker and the history's tables, or bring them up to date."`
	Keys     keysCmd     `cmd:"" help:"Make key pairs by which the roles sign in to a NATS server."`
	Ready    readyCmd    `cmd:"" help:"Ask a running service whether it can do its work."`
	Backup   backupCmd   `cmd:"" help:"Copy the embedded history into one file, while the service runs."`
	Restore  restoreCmd  `cmd:"" help:"Put a backup in the place of the embedded history."`
	Replay   replayCmd   `cmd:"" help:"Put parked or all files through again; nobody is told anything twice."`
}

// streams are the program's standard streams, so that tests can look at them.
type streams struct {
	out io.Writer
	err io.Writer
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], streams{out: os.Stdout, err: os.Stderr})
	stop()
	os.Exit(code)
}

// run parses args, runs the command and returns the exit code.
func run(ctx context.Context, args []string, std streams) int {
	var c cli
	exited := -1
	if len(args) > 0 && args[0] == "serve" {
		go club.Prepare() // while the command line is read
	}
	parser, err := kong.New(&c,
		kong.Name("canter"),
		kong.Description("canter scores the weekly submaximal fitness test of a squad from its heart-rate files and tells staff, in chat, what deserves a look.\n\n"+aboutJSON),
		kong.UsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
		kong.Vars{"log_level": "info"},
		kong.Writers(std.out, std.err),
		kong.Exit(func(code int) { exited = code }),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(std),
	)
	if err != nil {
		fmt.Fprintln(std.err, "canter:", err)
		return exitFailed
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	k, err := parser.Parse(args)
	if exited == exitDone { // --help has been printed
		return exitDone
	}
	if err != nil {
		if wrong, ok := errors.AsType[*kong.ParseError](err); ok {
			k = wrong.Context
		}
		fmt.Fprintf(std.err, "canter: %v\nTry: %s\n", err, hint(k))
		return exitUsage
	}
	log := newLog(std.err, c.LogLevel, c.LogFormat)
	err = k.Run(log)
	var usage usageError
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &usage):
		fmt.Fprintf(std.err, "canter: %v\nTry: %s\n", err, hint(k))
		return exitUsage
	case errors.Is(err, errSaid):
		return exitFailed
	default:
		fmt.Fprintln(std.err, "canter:", err)
		return exitFailed
	}
}

// hint returns where the help of a command is, as far as it was understood:
// "canter tests list --help".
func hint(k *kong.Context) string {
	words := []string{"canter"}
	if k != nil {
		for _, p := range k.Path {
			if p.Command != nil {
				words = append(words, p.Command.Name)
			}
		}
	}
	return strings.Join(append(words, "--help"), " ")
}

// usageError is wrong usage that the parser can't see.
type usageError struct{ text string }

func (e usageError) Error() string { return e.text }

func usagef(format string, args ...any) error { return usageError{fmt.Sprintf(format, args...)} }

// errSaid ends a command with exit code 1 after it has said why itself.
var errSaid = errors.New("already said")

func newLog(w io.Writer, level, format string) *slog.Logger {
	var l slog.Level
	_ = l.UnmarshalText([]byte(level)) // the parser has checked it
	opts := &slog.HandlerOptions{Level: l}
	if format == "json" {
		return slog.New(slog.NewJSONHandler(w, opts))
	}
	return slog.New(slog.NewTextHandler(w, opts))
}

// quieter drops what a service would log of each file, below least: commands
// tell their own story. With --log-level debug everything stays.
func quieter(ctx context.Context, log *slog.Logger, least slog.Level) *slog.Logger {
	if log.Enabled(ctx, slog.LevelDebug) {
		return log
	}
	return slog.New(minLevel{log.Handler(), least})
}

type minLevel struct {
	slog.Handler
	least slog.Level
}

// Enabled drops records below the least level.
func (m minLevel) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= m.least && m.Handler.Enabled(ctx, l)
}
