package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"slices"
	"time"

	"canter.example/cmd/canter/parked"
	"canter.example/schemas"
)

type replayCmd struct {
	Files   []string `arg:"" optional:"" name:"file" help:"Ids of files, or their first digits (at least 6)."`
	Parked  bool     `help:"All parked files."`
	Missing bool     `help:"All files of the archive that the history does not have, as after a power loss of the database."`
	All     bool     `help:"All files."`
	Club    string   `help:"Club file, needed when no canter serve is running." type:"path" placeholder:"FILE" env:"CANTER_CLUB"`
	listing
	places
}

// Help is shown below the options.
func (replayCmd) Help() string {
	return `Scores files of the archive again, with the club file and the scorer as they are
now, and assesses the tests inside and after them again. What staff were told
is not told again.

As JSON each file is as the history has it now, with "was", its state before.

Examples:
  canter replay --parked --club club.yaml     after adding an athlete or a sensor
  canter replay 3f9a41c2b7aa                  one file
  canter replay --missing                     after the database lost its last rows
  canter replay --all                         after a new version of canter`
}

// Run puts files through again.
func (c *replayCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	chosen := 0
	for _, on := range []bool{c.Parked, c.Missing, c.All, len(c.Files) > 0} {
		if on {
			chosen++
		}
	}
	if chosen != 1 {
		return usagef("say which files: --parked, --missing, --all, or file ids")
	}
	return c.withPipeline(ctx, aside(std, c.json()), log, c.Club, func(p *pipeline) error {
		files, err := c.choose(ctx, p)
		if err != nil {
			return err
		}
		cause := "replay " + time.Now().UTC().Format(time.RFC3339Nano)
		shown := newProgress(std.err, "files put through again", len(files))
		defer shown.clear()
		for i, f := range files {
			shown.to(i)
			err := p.broker.Publish(ctx, schemas.SubjectRescore+string(f.ID), cause+" "+string(f.ID), schemas.RescoreEvent{File: f.ID, Cause: cause})
			if err != nil {
				return err
			}
		}
		if err := p.settled(ctx); err != nil {
			return err
		}
		shown.clear()
		return c.became(ctx, std.out, p, files)
	})
}

func (c *replayCmd) choose(ctx context.Context, p *pipeline) ([]schemas.File, error) {
	if len(c.Files) > 0 {
		files, err := findFiles(ctx, parked.Desk{History: p.history}, c.Files)
		switch {
		case errors.Is(err, parked.ErrNoFile):
			return nil, fmt.Errorf("%w: canter sql \"SELECT file_id, path, state, reason FROM files\" lists them", err)
		case errors.Is(err, parked.ErrAmbiguous):
			return nil, usagef("%v", err)
		}
		return files, err
	}
	state := schemas.FileState("")
	if c.Parked {
		state = schemas.FileParked
	}
	files, err := p.history.Files(ctx, state)
	if err == nil && c.Missing {
		return missing(ctx, p, files)
	}
	return files, err
}

// missing returns the files of the archive that are not among those given.
func missing(ctx context.Context, p *pipeline, files []schemas.File) ([]schemas.File, error) {
	archive, err := p.broker.Archived(ctx)
	if err != nil {
		return nil, err
	}
	for _, f := range files {
		delete(archive.Files, f.ID)
	}
	var out []schemas.File
	for _, id := range slices.Sorted(maps.Keys(archive.Files)) {
		out = append(out, schemas.File{ID: id, State: "missing"})
	}
	return out, nil
}

// became is the JSON form of a file that was put through again.
type became struct {
	schemas.File
	Was schemas.FileState `json:"was"`
}

// became says what became of the files. A table of many leaves out those that
// are as they were.
func (f listing) became(ctx context.Context, w io.Writer, p *pipeline, files []schemas.File) error {
	var rows [][]string
	for _, before := range files {
		now, _, err := p.history.File(ctx, before.ID)
		if err != nil {
			return err
		}
		if f.json() {
			if err := jsonLines(w, became{now, before.State}); err != nil {
				return err
			}
			continue
		}
		if len(files) <= 50 || now.State != before.State {
			rows = append(rows, []string{before.ID.Short(), now.Origin.Path, string(before.State), string(now.State), fmt.Sprint(now.Tests), now.Reason})
		}
	}
	if f.json() {
		return nil
	}
	if len(rows) > 0 {
		if err := table(w, []string{"file", "path", "was", "is", "tests", "reason"}, rows); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(w, "%s put through again\n", schemas.Count(len(files), "file"))
	return err
}
