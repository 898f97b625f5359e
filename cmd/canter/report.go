package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	page "canter.example/cmd/canter/report"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

type reportCmd struct {
	Session string `help:"The session: squad/protocol/date, as canter tests list names it." placeholder:"ID"`
	Latest  bool   `help:"The squad's latest session, instead of --session."`
	Squad   string `help:"Squad of --latest." placeholder:"ID"`
	Club    string `help:"Club file: names, protocol, who was expected, time zone." type:"path" placeholder:"FILE" env:"CANTER_CLUB"`
	Names   string `help:"What athletes are called: ${enum}. club is as the club file says for chat, or, without --club, as the history has them." enum:"club,name,initials,id" default:"club"`
	Out     string `help:"Where to write the page; - for standard output." required:"" placeholder:"FILE"`
	telling
	places
}

// Help is shown below the options.
func (reportCmd) Help() string {
	return `One page that needs no network and prints on A4. It holds, in this order:

  head        squad, protocol, day and starting times, conditions (microcycle
              day, surface), athletes tested, missing, unusable, doubtful, left
              out; what the whole squad shares that day
  look        tests beyond the thresholds, with what was compared with what
  squad       change from baseline of each athlete, HRex and HRR, with typical
              error and smallest worthwhile change
  table       for each athlete HRex (%HRmax and bpm) and HRR: change since the
              last test and from baseline, z, how unusual in words; what the
              trace is worth; staff's word
  traces      all of them from their start, on one scale
  athletes    for each the numbers in sentences, remarks on the trace, what
              staff did and why, history and trace
  methods     windows, baseline, typical error
  caution     whose decision it is

Without --club, the protocol's windows, the squad's shift and the club's time
zone are not known and left out; times are in UTC.

As JSON canter says of the page: file, session, tests.

Examples:
  canter report --session first/run-12/2026-11-03 --club club.yaml --out report.html
  canter report --latest --squad first --club club.yaml --out monday.html
  canter report --latest --squad first --names initials --club club.yaml --out - | gzip > monday.html.gz`
}

// Run writes the report.
func (c *reportCmd) Run(ctx context.Context, std streams) error {
	if err := c.usage(); err != nil {
		return err
	}
	h, err := c.existingHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	names, err := c.calling(ctx, h)
	if err != nil {
		return err
	}
	session := c.Session
	if c.Latest {
		if session, err = latestSession(ctx, h, c.Squad); err != nil {
			return err
		}
	}
	d, err := page.Gather(ctx, h, names, session)
	if errors.Is(err, page.ErrNoSession) {
		return fmt.Errorf("there is no session %q: canter tests list names them, as squad/protocol/date", session)
	}
	if err != nil {
		return err
	}
	if err := d.ReadBeside(ctx, h); err != nil {
		return err
	}
	d.Made = time.Now()
	var b bytes.Buffer
	if err := page.Write(&b, *d); err != nil {
		return err
	}
	if c.Out == "-" {
		_, err = std.out.Write(b.Bytes())
		return err
	}
	err = whole(c.Out, func(w io.Writer) error { _, err := w.Write(b.Bytes()); return err })
	if err != nil {
		return fmt.Errorf("the page can't be written: %w", err)
	}
	if c.json() {
		return jsonLines(std.out, struct {
			File    string `json:"file"`
			Session string `json:"session"`
			Tests   int    `json:"tests"`
		}{c.Out, session, len(d.Tests)})
	}
	_, err = fmt.Fprintf(std.out, "%s: %s, %s\n", c.Out, session, schemas.Count(len(d.Tests), "test"))
	return err
}

func (c *reportCmd) usage() error {
	switch {
	case c.Latest && c.Session != "":
		return usagef("give --session or --latest, not both")
	case c.Latest && c.Squad == "":
		return usagef("--latest needs --squad ID")
	case !c.Latest && c.Session == "":
		return usagef("which session? Give --session squad/protocol/date, or --latest --squad ID")
	case c.Out == "-" && c.json():
		return usagef("--out - writes the page itself to standard output: --format json needs a file")
	case c.Club == "" && (c.Names == "name" || c.Names == "initials"):
		return usagef("--names %s needs --club FILE: names stand in the club file", c.Names)
	}
	return nil
}

// calling is what the report calls athletes.
func (c *reportCmd) calling(ctx context.Context, h history.Store) (*page.Names, error) {
	n := &page.Names{Style: club.ShowID}
	if c.Club == "" {
		if c.Names == "id" {
			return n, nil
		}
		rows, err := h.Athletes(ctx)
		n.Rostered = map[string]string{}
		for i := range rows {
			n.Rostered[rows[i].ID] = rows[i].Name
		}
		return n, err
	}
	var err error
	if n.Club, err = club.Load(c.Club); err != nil {
		return nil, err
	}
	if n.Style = club.NameStyle(c.Names); c.Names == "club" {
		n.Style = n.Club.Privacy.ChatNames
	}
	return n, nil
}

// errNoTests is returned for a squad without tests.
var errNoTests = errors.New("no tests")

func latestSession(ctx context.Context, h history.Store, squad string) (string, error) {
	tests, err := h.Tests(ctx, history.TestFilter{Squad: squad, Limit: 1})
	if err != nil {
		return "", err
	}
	if len(tests) == 0 {
		return "", fmt.Errorf("squad %q has %w: canter tests list names the sessions", squad, errNoTests)
	}
	return tests[0].Session, nil
}
