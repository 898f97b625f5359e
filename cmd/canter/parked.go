package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"time"

	"canter.example/cmd/canter/parked"
	"canter.example/schemas"
	"canter.example/schemas/broker"
)

type parkedCmd struct {
	List  parkedListCmd  `cmd:"" help:"List the files that could not be handled, the oldest first."`
	Show  parkedShowCmd  `cmd:"" help:"Show one file: why it is parked, what was said of it."`
	Retry parkedRetryCmd `cmd:"" help:"Put parked files through again; say by hand whose one is."`
	Drop  parkedDropCmd  `cmd:"" help:"Let go of parked files; nobody is asked about them again."`
}

// Help is shown below the commands.
func (parkedCmd) Help() string {
	return `A file that can't be handled is set aside with the reason, and staff are told
once. It waits here, whatever else goes on. Mend the cause (the club file, mostly)
and put it through again, say whose it is, or let go of it. What staff say is kept
in the corrections table with who, when and why.

As JSON a file is as the history has it, with what staff said of it; retry and drop
add "was", its state before.

Examples:
  canter parked list
  canter parked retry --all --club club.yaml       after adding an athlete or a sensor
  canter parked retry 3f9a41c2b7aa --athlete HNK --why "wore the spare strap"
  canter parked drop 3f9a41c2b7aa --why "the physio's own run"`
}

type parkedListCmd struct {
	Squad   string `help:"Only files of this squad's folders." placeholder:"ID"`
	Dropped bool   `help:"Those that staff let go of, too."`
	listing
	places
}

// Run lists parked files.
func (c *parkedListCmd) Run(ctx context.Context, std streams) error {
	h, err := c.existingHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	items, err := parked.Desk{History: h}.List(ctx, parked.Choice{Squad: c.Squad, Dropped: c.Dropped})
	if err != nil {
		return err
	}
	if c.json() {
		return jsonLines(std.out, items...)
	}
	if len(items) == 0 {
		_, err := fmt.Fprintln(std.out, "no files are parked")
		return err
	}
	return parkedTable(std.out, items)
}

func parkedTable(w io.Writer, items []parked.Item) error {
	rows := make([][]string, len(items))
	for i := range items {
		f := &items[i].File
		rows[i] = []string{
			f.ID.Short(), f.Origin.Seen.UTC().Format("2006-01-02 15:04"), f.Origin.Squad, f.Origin.Path,
			string(f.State), fmt.Sprint(f.Tests), f.Reason,
		}
	}
	return table(w, []string{"file", "seen (UTC)", "squad", "path", "state", "tests", "reason"}, rows)
}

type parkedShowCmd struct {
	File string `arg:"" help:"Id of the file, or its first digits (at least 6)."`
	listing
	places
}

// Run shows one file.
func (c *parkedShowCmd) Run(ctx context.Context, std streams) error {
	h, err := c.existingHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	desk := parked.Desk{History: h}
	f, err := desk.Find(ctx, c.File)
	if err != nil {
		return parkedHint(err)
	}
	item, err := desk.Show(ctx, f.ID, 0)
	if err != nil {
		return err
	}
	if c.json() {
		return jsonLines(std.out, item)
	}
	return showParked(std.out, &item)
}

func showParked(w io.Writer, it *parked.Item) error {
	rows := [][]string{
		{"file", string(it.ID)},
		{"found as", it.Origin.Folder + "/" + it.Origin.Path},
		{"squad", it.Origin.Squad},
		{"seen", it.Origin.Seen.UTC().Format(time.RFC3339)},
		{"size", fmt.Sprintf("%d bytes", it.Size)},
		{"format", it.Format},
		{"state", string(it.State)},
		{"recordings", fmt.Sprint(it.Traces)},
		{"tests scored", fmt.Sprint(it.Tests)},
	}
	for _, r := range rows {
		if _, err := fmt.Fprintf(w, "%-13s %s\n", r[0], printable(r[1])); err != nil {
			return err
		}
	}
	for i, reason := range strings.Split(it.Reason, "; ") {
		name := "reason"
		if i > 0 {
			name = ""
		}
		if _, err := fmt.Fprintf(w, "%-13s %s\n", name, printable(reason)); err != nil {
			return err
		}
	}
	for _, c := range it.Corrections {
		what := string(c.Action)
		if c.Athlete != "" {
			what += " " + c.Athlete
		}
		if c.Part != "" {
			what += fmt.Sprintf(" (part %q)", c.Part)
		}
		if _, err := fmt.Fprintf(w, "%-13s %s by %s, %s: %s\n", "staff said", printable(what), printable(c.Who), c.When.UTC().Format(time.RFC3339), printable(c.Why)); err != nil {
			return err
		}
	}
	return nil
}

// handFlags are shared by the commands that change something.
type handFlags struct {
	Who  string `help:"Who says so (default: the user of this machine)." placeholder:"NAME" env:"CANTER_WHO"`
	Club string `help:"Club file, needed when no canter serve is running." type:"path" placeholder:"FILE" env:"CANTER_CLUB"`
	listing
	places
}

type parkedRetryCmd struct {
	Files   []string `arg:"" optional:"" name:"file" help:"Ids of files, or their first digits (at least 6)."`
	All     bool     `help:"All parked files; not those that staff let go of."`
	Athlete string   `help:"Whose the file is, by hand: an athlete's id. Works for a handled file, too, when straps were swapped." placeholder:"ID"`
	Part    string   `help:"The recording inside the file that is meant, as the reason quotes it." placeholder:"NAME"`
	Restore bool     `help:"Take back what staff said of the file before: a drop, athletes named by hand."`
	Why     string   `help:"Why, in your own words; kept in the audit." placeholder:"TEXT"`
	handFlags
}

// Run puts files through again.
func (c *parkedRetryCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	if err := c.validate(); err != nil {
		return err
	}
	return c.withPipeline(ctx, aside(std, c.json()), log, c.Club, func(p *pipeline) error {
		if p.club != nil && c.Athlete != "" && p.club.Athlete(c.Athlete) == nil {
			return usagef("--athlete: %s has no athlete %q", c.Club, c.Athlete)
		}
		desk := parked.Desk{History: p.history, Broker: p.broker}
		files, err := c.choose(ctx, desk)
		if err != nil {
			return parkedHint(err)
		}
		for _, f := range files {
			err := desk.Retry(ctx, parked.Retry{File: f.ID, Athlete: c.Athlete, Part: c.Part, Restore: c.Restore, Who: whoWrites(c.Who), Why: c.Why})
			if err != nil {
				return parkedHint(err)
			}
		}
		if err := p.wait(ctx); err != nil {
			return err
		}
		return c.became(ctx, std.out, p, files)
	})
}

func (c *parkedRetryCmd) validate() error {
	switch {
	case c.All == (len(c.Files) > 0):
		return usagef("say which files: --all, or file ids")
	case c.Athlete != "" && (c.All || len(c.Files) != 1):
		return usagef("--athlete says whose one file is: name one")
	case c.Athlete != "" && c.Restore:
		return usagef("--restore takes back what --athlete would say: choose one")
	case c.Athlete != "" && strings.TrimSpace(c.Why) == "":
		return usagef("--athlete needs --why: it is kept in the audit")
	case c.Part != "" && c.Athlete == "":
		return usagef("--part belongs to --athlete")
	}
	return nil
}

func (c *parkedRetryCmd) choose(ctx context.Context, desk parked.Desk) ([]schemas.File, error) {
	if !c.All {
		return findFiles(ctx, desk, c.Files)
	}
	items, err := desk.List(ctx, parked.Choice{})
	files := make([]schemas.File, len(items))
	for i := range items {
		files[i] = items[i].File
	}
	return files, err
}

func findFiles(ctx context.Context, desk parked.Desk, prefixes []string) ([]schemas.File, error) {
	var files []schemas.File
	for _, prefix := range prefixes {
		f, err := desk.Find(ctx, prefix)
		if err != nil {
			return nil, err
		}
		files = append(files, f)
	}
	return files, nil
}

type parkedDropCmd struct {
	Files []string `arg:"" name:"file" help:"Ids of files, or their first digits (at least 6)."`
	Why   string   `help:"Why, in your own words; kept in the audit." required:"" placeholder:"TEXT"`
	handFlags
}

// Run lets go of files.
func (c *parkedDropCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	if strings.TrimSpace(c.Why) == "" {
		return usagef("--why is empty: say why, it is kept in the audit")
	}
	return c.withPipeline(ctx, aside(std, c.json()), log, c.Club, func(p *pipeline) error {
		desk := parked.Desk{History: p.history, Broker: p.broker}
		files, err := findFiles(ctx, desk, c.Files)
		if err != nil {
			return parkedHint(err)
		}
		for _, f := range files {
			if err := desk.Drop(ctx, f.ID, whoWrites(c.Who), c.Why); err != nil {
				return parkedHint(err)
			}
		}
		if err := p.wait(ctx); err != nil {
			return err
		}
		return c.became(ctx, std.out, p, files)
	})
}

// parkedHint adds where to look.
func parkedHint(err error) error {
	switch {
	case errors.Is(err, parked.ErrNoFile):
		return fmt.Errorf("%w: canter parked list --dropped names those that wait for a hand", err)
	case errors.Is(err, parked.ErrAmbiguous), errors.Is(err, parked.ErrState), errors.Is(err, parked.ErrNoName):
		return usagef("%v", err)
	case errors.Is(err, broker.ErrNoFile):
		return fmt.Errorf("%w: copy it into the folder anew", err)
	}
	return err
}
