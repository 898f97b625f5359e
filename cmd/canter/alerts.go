package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os/user"
	"strings"

	"canter.example/alerts/message"
	"canter.example/cmd/canter/staff"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

type alertsCmd struct {
	List alertsListCmd `cmd:"" help:"List alerts, the newest last."`
	Seen alertsSeenCmd `cmd:"" help:"Mark an alert as seen."`
	Note alertsNoteCmd `cmd:"" help:"Write a note to an alert: illness, heat, travel, poor sleep."`
}

// Help is shown below the commands.
func (alertsCmd) Help() string {
	return `Notes are kept in the notes table with who wrote them and when, and stand on the
athlete's later alerts for four weeks.

An alert is closed when the athlete's next valid test shows none of it, and
withdrawn when corrected data take it back. It lapses when no valid test comes
within six weeks: then nobody can say from the data whether it still holds.

As JSON an alert is as the history has it, with its notes.

Examples:
  canter alerts list --squad first
  canter alerts seen a4d5bd0c1709e6807
  canter alerts note a4d5bd0c1709e6807 "had a cold since Sunday"`
}

type alertsListCmd struct {
	Athlete string   `help:"Only this athlete." placeholder:"ID"`
	Squad   string   `help:"Only this squad." placeholder:"ID"`
	Session []string `help:"Only this session (squad/protocol/date); several with commas between."`
	State   string   `help:"Only alerts in this state: ${enum}." enum:"any,open,seen,closed,withdrawn,lapsed" default:"any"`
	From    string   `help:"Only alerts about this day or later." placeholder:"DATE"`
	listing
	places
}

// listed is the JSON form of an alert with its notes.
type listed struct {
	schemas.Alert
	Notes []schemas.Note `json:"notes,omitempty"`
}

// Run lists alerts.
func (c *alertsListCmd) Run(ctx context.Context, std streams) error {
	f := history.AlertFilter{Athlete: c.Athlete, Squad: c.Squad, Sessions: c.Session}
	if c.State != "any" {
		f.State = schemas.AlertState(c.State)
	}
	var err error
	if f.From, err = parseDay(c.From); err != nil {
		return err
	}
	h, err := c.existingHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	alerts, err := h.Alerts(ctx, f)
	if err != nil {
		return err
	}
	notes, err := h.Notes(ctx, history.NoteFilter{Athlete: c.Athlete})
	if err != nil {
		return err
	}
	of := map[string][]schemas.Note{}
	for _, n := range notes {
		of[n.AlertID] = append(of[n.AlertID], n)
	}
	list := make([]listed, len(alerts))
	for i, a := range alerts {
		list[i] = listed{a, of[a.ID]}
	}
	return c.alerts(std.out, list...)
}

// alerts writes alerts in the form asked for.
func (f listing) alerts(w io.Writer, list ...listed) error {
	if f.json() {
		return jsonLines(w, list...)
	}
	rows := make([][]string, len(list))
	for i := range list {
		rows[i] = alertRow(&list[i].Alert, list[i].Notes)
	}
	return table(w, []string{"alert", "about (UTC)", "squad", "athlete", "rule", "urgency", "state", "told", "notes"}, rows)
}

func alertRow(a *schemas.Alert, notes []schemas.Note) []string {
	told := "no"
	if a.Told {
		told = "yes"
	}
	var texts []string
	for _, n := range notes {
		if n.Text != "" {
			texts = append(texts, printable(n.Who)+": "+printable(n.Text))
		}
	}
	return []string{a.ID, a.About.UTC().Format("2006-01-02 15:04"), a.Squad, a.Athlete, string(a.Rule), string(a.Urgency), message.State(a), told, strings.Join(texts, "; ")}
}

// noteFlags are shared by the commands that write to an alert.
type noteFlags struct {
	Who  string `help:"Who says so (default: the user of this machine)." placeholder:"NAME" env:"CANTER_WHO"`
	Club string `help:"Club file, needed when no canter serve is running." type:"path" placeholder:"FILE" env:"CANTER_CLUB"`
	listing
	places
}

type (
	alertsSeenCmd struct {
		Alert string `arg:"" help:"Alert id."`
		Note  string `help:"A note beside it." placeholder:"TEXT"`
		noteFlags
	}
	alertsNoteCmd struct {
		Alert string `arg:"" help:"Alert id."`
		Text  string `arg:"" help:"The note."`
		noteFlags
	}
)

// Run marks an alert as seen.
func (c *alertsSeenCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	return c.write(ctx, std, log, c.Alert, schemas.Note{Seen: true, Text: c.Note})
}

// Run writes a note.
func (c *alertsNoteCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	if strings.TrimSpace(c.Text) == "" {
		return usagef("the note is empty")
	}
	return c.write(ctx, std, log, c.Alert, schemas.Note{Text: c.Text})
}

// write publishes a note, waits until it has been worked in and prints the
// alert as it is then.
func (c *noteFlags) write(ctx context.Context, std streams, log *slog.Logger, id string, n schemas.Note) error {
	if long := len([]rune(n.Text)); long > staff.LongestNote {
		return usagef("the note is %d characters long: keep it to %d, it stands on later messages", long, staff.LongestNote)
	}
	return c.withPipeline(ctx, aside(std, c.json()), log, c.Club, func(p *pipeline) error {
		al, ok, err := p.history.Alert(ctx, id)
		if err != nil {
			return err
		}
		if !ok {
			return fmt.Errorf("there is no alert %q: canter alerts list names them", id)
		}
		if _, err := (staff.Desk{Broker: p.broker}).Note(ctx, &al, whoWrites(c.Who), n.Seen, n.Text); err != nil {
			return usageOf(err)
		}
		if err := p.wait(ctx); err != nil {
			return err
		}
		if al, _, err = p.history.Alert(ctx, id); err != nil {
			return err
		}
		notes, err := p.history.Notes(ctx, history.NoteFilter{Alert: id})
		if err != nil {
			return err
		}
		return c.alerts(std.out, listed{al, notes})
	})
}

// whoWrites returns the given name, else the user of this machine.
func whoWrites(given string) string {
	if given != "" {
		return given
	}
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return "unknown"
}
