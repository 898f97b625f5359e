package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"canter.example/ingest/formats"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"canter.example/scorer/identify"
)

type eraseCmd struct {
	Athlete string `required:"" help:"The athlete's id in the club file." placeholder:"ID"`
	Club    string `required:"" help:"Club file; the athlete must still be in it, for the names to look for." type:"path" placeholder:"FILE" env:"CANTER_CLUB"`
	Yes     bool   `help:"Do it. Without it, only say what would be done."`
	telling
	places
}

// Help is shown below the options.
func (eraseCmd) Help() string {
	return `Takes one athlete out of the history, the archive of raw files and what waits to
be sent, then looks for them everywhere. There is no way back.

Stop canter serve first. Files that hold other athletes too leave the archive as
well: the others' tests stay, but can't be scored anew from it.

Canter never changes the watched folders or the club file, nor what was said in
chat, nor backups and exports: what it lists at the end is yours to delete, or
the next canter serve reads it again.

As JSON: athlete, tests, done, rows, blanked, messages, left (tables where something
was found still) and yours, the files that are yours to delete: file, shared.

Examples:
  canter erase --athlete HNK --club club.yaml          say what would be done
  canter erase --athlete HNK --club club.yaml --yes    do it`
}

// eraseJob is the mark that an erasure leaves among the slots: when and how
// much, not whom.
const eraseJob = "erased an athlete"

// Run erases an athlete.
func (c *eraseCmd) Run(ctx context.Context, std streams) error {
	cl, err := club.Load(c.Club)
	if err != nil {
		return err
	}
	athlete := cl.Athlete(c.Athlete)
	if athlete == nil {
		return usagef("%s has no athlete %q: if they were taken out, put them back until this is done, so that their names can be looked for", c.Club, c.Athlete)
	}
	if c.NATS == "" {
		if _, running := broker.Running(c.Data); running {
			return fmt.Errorf("a canter serve runs on %s: stop it first, or it goes on writing", c.Data)
		}
	}
	h, err := c.existingHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	b, err := broker.Open(ctx, c.brokerConfig("", cl.Privacy.KeepFiles))
	if err != nil {
		return err
	}
	defer b.Close()
	e := eraser{club: cl, history: h, broker: b, who: history.Erasure{
		Athlete: athlete.ID, Names: append([]string{athlete.Name, athlete.Initials}, athlete.Aliases...),
	}}
	if err := e.find(ctx); err != nil {
		return err
	}
	if !c.json() {
		e.say(std.out, athlete.ID)
	}
	if c.Yes {
		err = e.run(ctx)
	}
	if c.json() {
		return errors.Join(jsonLines(std.out, e.erased(athlete.ID)), err)
	}
	e.sayDone(std.out)
	return err
}

// eraser erases one athlete.
type eraser struct {
	club    *club.Club
	history history.Store
	broker  *broker.Broker
	who     history.Erasure
	// own files hold nobody else, shared ones do.
	own, shared []schemas.File
	tests       int
	// did is nil until it is done.
	did *did
}

// find sorts out which files hold the athlete.
func (e *eraser) find(ctx context.Context) error {
	tests, err := e.history.Tests(ctx, history.TestFilter{Athlete: e.who.Athlete, IncludeRemoved: true})
	if err != nil {
		return err
	}
	e.tests = len(tests)
	theirs, several := map[schemas.FileID]bool{}, map[schemas.FileID]bool{}
	for _, o := range tests {
		theirs[o.FileID] = true
	}
	if err := e.addLoads(ctx, theirs, several); err != nil {
		return err
	}
	files, err := e.history.Files(ctx, "")
	if err != nil {
		return err
	}
	for _, f := range files {
		named := e.who.Mentions(f.Origin.Path)
		if f.Traces > 1 || several[f.ID] {
			named = named || theirs[f.ID]
			if !named {
				if named, err = e.inside(ctx, f); err != nil {
					return err
				}
			}
			if named {
				e.shared = append(e.shared, f)
			}
			continue
		}
		if !named && !theirs[f.ID] && f.State == schemas.FileParked {
			if named, err = e.inside(ctx, f); err != nil {
				return err
			}
		}
		if named || theirs[f.ID] {
			e.own = append(e.own, f)
			e.who.Files = append(e.who.Files, f.ID)
		}
	}
	return nil
}

// addLoads adds the files of the athlete's training, and those of daily series:
// several says which of these hold others too.
func (e *eraser) addLoads(ctx context.Context, theirs, several map[schemas.FileID]bool) error {
	for _, table := range []string{"loads", "stored_series"} {
		others := map[schemas.FileID]bool{}
		err := e.history.Each(ctx, "SELECT file_id, athlete FROM "+table, func([]string) error { return nil }, func(v []any) error {
			if id := schemas.FileID(fmt.Sprint(v[0])); v[1] == e.who.Athlete {
				theirs[id] = true
			} else {
				others[id] = true
			}
			return nil
		})
		if err != nil {
			return err
		}
		for id := range others {
			several[id] = several[id] || theirs[id]
		}
	}
	return nil
}

// inside reports whether a file of the archive names the athlete in itself: as
// the label of a trace or, when it can't be read, anywhere in its bytes.
func (e *eraser) inside(ctx context.Context, f schemas.File) (bool, error) {
	msg, err := e.broker.File(ctx, f.ID, e.club.Files.MaxSize)
	if errors.Is(err, broker.ErrNoFile) || errors.Is(err, broker.ErrMessage) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	traces, _, err := formats.Decode(msg.Origin.Path, msg.Content, formats.Options{Zone: e.club.Zone, Date: f.Origin.Modified})
	if err != nil {
		return slices.ContainsFunc(e.who.Names, func(n string) bool {
			return len([]rune(n)) > 3 && bytes.Contains(bytes.ToLower(msg.Content), []byte(strings.ToLower(n)))
		}), nil
	}
	return slices.ContainsFunc(traces, func(t schemas.Trace) bool {
		return e.who.Mentions(t.Label) || e.who.Mentions(t.Part)
	}), nil
}

// say says what there is of the athlete.
func (e *eraser) say(w io.Writer, id string) {
	_, _ = fmt.Fprintf(w, "%s: %s; %s of their own and %d that hold others too.\n", id, schemas.Count(e.tests, "test"), schemas.Count(len(e.own), "file"), len(e.shared))
}

// run does it, archive first: a file that is gone can't be scored again.
func (e *eraser) run(ctx context.Context) error {
	did := &did{}
	for _, f := range slices.Concat(e.own, e.shared) {
		n, err := e.broker.DeleteFile(ctx, f.ID)
		did.messages += n
		if err != nil {
			return err
		}
	}
	done, err := e.history.Erase(ctx, e.who)
	if err != nil {
		return err
	}
	n, err := e.broker.DeleteAthlete(ctx, e.who.Athlete, done.Tests, done.Messages)
	did.messages += n
	if err != nil {
		return err
	}
	did.rows, did.blanked, did.left = sum(done.Removed), sum(done.Blanked), done.Left
	now := time.Now()
	mark := fmt.Sprintf("%s: %d rows removed, words taken from %d, %d messages of the broker", now.UTC().Format(time.RFC3339Nano), did.rows, did.blanked, did.messages)
	if err := e.history.MarkSlot(ctx, eraseJob, mark, now); err != nil {
		return err
	}
	e.did = did
	if len(did.left) > 0 {
		return fmt.Errorf("still found in %s: run it again; if that stays, somebody else there has the same name", strings.Join(did.left, ", "))
	}
	return nil
}

// did is what an erasure came to.
type did struct {
	rows, blanked, messages int
	left                    []string
}

// sayDone says what was done, and what canter does not touch.
func (e *eraser) sayDone(w io.Writer) {
	if e.did == nil {
		_, _ = fmt.Fprintln(w, "Nothing was removed: add --yes to do it.")
		return
	}
	_, _ = fmt.Fprintf(w, "Removed %s of the history; took words that named them from %s of others; deleted %s of the broker.\n",
		schemas.Count(e.did.rows, "row"), schemas.Count(e.did.blanked, "row"), schemas.Count(e.did.messages, "message"))
	if len(e.did.left) > 0 {
		return
	}
	_, _ = fmt.Fprintln(w, "Searched every text of the history: nothing is left. The audit keeps the time and these numbers, not the name.")
	_, _ = fmt.Fprintln(w, "\nYours to delete before the next canter serve:\n  the athlete in the club file (or its athletes' CSV), aliases and sensors too\n  what was said in chat, backups, exports")
	for _, f := range e.yours() {
		also := ""
		if f.Shared {
			also = "  (holds others too)"
		}
		_, _ = fmt.Fprintf(w, "  %s%s\n", f.File, also)
	}
}

// theirFile is a file that canter does not touch.
type theirFile struct {
	File   string `json:"file"`
	Shared bool   `json:"shared"`
}

func (e *eraser) yours() []theirFile {
	out := []theirFile{}
	for _, f := range e.own {
		out = append(out, theirFile{identify.Where(e.club, f.Origin), false})
	}
	for _, f := range e.shared {
		out = append(out, theirFile{identify.Where(e.club, f.Origin), true})
	}
	return out
}

// erased is the JSON form of an erasure, done or not.
type erased struct {
	Athlete  string      `json:"athlete"`
	Tests    int         `json:"tests"`
	Done     bool        `json:"done"`
	Rows     int         `json:"rows"`
	Blanked  int         `json:"blanked"`
	Messages int         `json:"messages"`
	Left     []string    `json:"left"`
	Yours    []theirFile `json:"yours"`
}

func (e *eraser) erased(id string) erased {
	out := erased{Athlete: id, Tests: e.tests, Left: []string{}, Yours: e.yours()}
	if e.did != nil {
		out.Done, out.Rows, out.Blanked, out.Messages = true, e.did.rows, e.did.blanked, e.did.messages
		out.Left = append(out.Left, e.did.left...)
	}
	return out
}

func sum(counts map[string]int) int {
	n := 0
	for v := range maps.Values(counts) {
		n += v
	}
	return n
}
