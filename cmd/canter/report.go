package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"
	"golang.org/x/text/collate"
	"golang.org/x/text/language"

	"canter.example/alerts/assess"
	"canter.example/alerts/chart"
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
	r := &reporter{names: c.Names}
	var err error
	if c.Club != "" {
		if r.club, err = club.Load(c.Club); err != nil {
			return err
		}
	}
	if r.history, err = c.existingHistory(ctx); err != nil {
		return err
	}
	defer func() { _ = r.history.Close() }()
	session := c.Session
	if c.Latest {
		if session, err = r.latest(ctx, c.Squad); err != nil {
			return err
		}
	}
	d, err := r.gather(ctx, session)
	if err != nil {
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
	if err := writeWhole(c.Out, b.Bytes()); err != nil {
		return fmt.Errorf("the page can't be written: %w", err)
	}
	_, err = fmt.Fprintf(std.out, "%s: %s, %d tests\n", c.Out, session, len(d.Tests))
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
	case c.Club == "" && (c.Names == "name" || c.Names == "initials"):
		return usagef("--names %s needs --club FILE: names stand in the club file", c.Names)
	}
	return nil
}

// writeWhole replaces a file in one step: a reader never sees half a page.
// Health data is for its owner's eyes, so the file is as well.
func writeWhole(name string, content []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(name), ".canter-report-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = os.Remove(f.Name())
		}
	}()
	_, err = f.Write(content)
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}

// reporter gathers what a report is made of.
type reporter struct {
	club    *club.Club // nil without a club file
	history history.Store
	names   string
	roster  map[string]history.AthleteRow
}

func (r *reporter) latest(ctx context.Context, squad string) (string, error) {
	tests, err := r.history.Tests(ctx, history.TestFilter{Squad: squad, Limit: 1})
	if err != nil {
		return "", err
	}
	if len(tests) == 0 {
		return "", fmt.Errorf("squad %q has no tests: canter tests list names the sessions", squad)
	}
	return tests[0].Session, nil
}

func (r *reporter) gather(ctx context.Context, session string) (*page.Data, error) {
	outcomes, err := r.history.SessionTests(ctx, session)
	if err != nil {
		return nil, err
	}
	if len(outcomes) == 0 {
		return nil, fmt.Errorf("there is no session %q: canter tests list names them, as squad/protocol/date", session)
	}
	rows, err := r.history.Athletes(ctx)
	if err != nil {
		return nil, err
	}
	r.roster = map[string]history.AthleteRow{}
	for _, row := range rows {
		r.roster[row.ID] = row
	}
	squad, start := outcomes[0].Squad, outcomes[0].Start
	d := &page.Data{Squad: squad, Session: session, Tests: make([]page.Test, len(outcomes))}
	if r.club != nil {
		d.Club, d.Zone, d.Protocol = r.club.Name, r.club.Zone, r.club.Protocol(outcomes[0].Protocol)
		if s := r.club.Squad(squad); s != nil && s.Name != "" {
			d.Squad = s.Name
		}
	}
	var g errgroup.Group
	g.SetLimit(4)
	for i := range outcomes {
		g.Go(func() error {
			t, err := r.test(ctx, outcomes[i])
			d.Tests[i] = t
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	order := collate.New(language.Und)
	slices.SortStableFunc(d.Tests, func(a, b page.Test) int { return order.CompareString(a.Who.Name, b.Who.Name) })
	d.Missing, d.Expected = r.missing(squad, start, outcomes)
	d.Effects = r.effects(d, outcomes)
	return d, nil
}

// test gathers one test with its athlete's history.
func (r *reporter) test(ctx context.Context, o schemas.Outcome) (t page.Test, err error) {
	t.Who, t.Outcome = r.person(o.Athlete), r.said(o)
	if t.Seconds, err = r.history.TraceSeconds(ctx, o.TestID); err != nil {
		return t, err
	}
	if t.Alerts, err = r.history.Alerts(ctx, history.AlertFilter{TestID: o.TestID}); err != nil {
		return t, err
	}
	past, err := r.history.AthleteTests(ctx, o.Athlete, o.Protocol)
	if err != nil {
		return t, err
	}
	for _, p := range past {
		if p.Start.After(o.Start) || p.ProtocolVersion != o.ProtocolVersion {
			continue
		}
		ht := chart.HistoryTest{Outcome: r.said(p)}
		a, ok, err := r.history.Assessment(ctx, p.TestID)
		if err != nil {
			return t, err
		}
		if ok {
			ht.Assessment = &a
		}
		corrections, err := r.corrections(ctx, p.TestID)
		if err != nil {
			return t, err
		}
		for _, c := range corrections {
			t.Notes = append(t.Notes, chart.Note{At: p.Start, Text: page.ActionWords(c.Action) + " by " + c.Who + ": " + c.Why})
		}
		if p.TestID == o.TestID {
			t.Assessment, t.Corrections = ht.Assessment, corrections
		}
		t.History = append(t.History, ht)
	}
	return t, nil
}

func (r *reporter) corrections(ctx context.Context, id schemas.TestID) ([]schemas.Correction, error) {
	cs, err := r.history.AllCorrections(ctx, id)
	for i := range cs {
		cs[i].Why = r.say(cs[i].Why)
	}
	return cs, err
}

// person is what an athlete is called.
func (r *reporter) person(id string) chart.Person {
	p := chart.Person{ID: id, Name: id}
	switch {
	case r.names == "id":
	case r.club != nil:
		p.Name = club.Called(r.club.Athlete(id), id, r.style())
	case r.roster[id].Name != "":
		p.Name = r.roster[id].Name
	}
	return p
}

// style is how athletes are called, by the flag or by the club.
func (r *reporter) style() club.NameStyle {
	switch r.names {
	case "name":
		return club.ShowName
	case "initials":
		return club.ShowInitials
	case "id":
		return club.ShowID
	}
	if r.club == nil {
		return club.ShowID // the history may hold less than a name: assume so
	}
	return r.club.Privacy.ChatNames
}

// said is an outcome whose texts may stand in the report.
func (r *reporter) said(o schemas.Outcome) schemas.Outcome {
	o.Reasons = slices.Clone(o.Reasons)
	for i := range o.Reasons {
		o.Reasons[i].Text = r.say(o.Reasons[i].Text)
	}
	return o
}

// quotation is what texts quote from files: headings, labels, paths.
var quotation = regexp.MustCompile(`"[^"]*"|“[^”]*”`)

// say takes names out of a text where athletes are not called by name: what
// it quotes from files, and the spellings that the club file knows.
func (r *reporter) say(text string) string {
	if r.style() == club.ShowName {
		return text
	}
	text = quotation.ReplaceAllString(text, "(name withheld)")
	if r.club == nil {
		return text
	}
	for i := range r.club.Athletes {
		a := &r.club.Athletes[i]
		for _, name := range append([]string{a.Name}, a.Aliases...) {
			if strings.TrimSpace(name) == "" {
				continue
			}
			re := regexp.MustCompile(`(?i)(^|[^\pL\pN])` + regexp.QuoteMeta(name) + `($|[^\pL\pN])`)
			text = re.ReplaceAllString(text, "${1}"+strings.ReplaceAll(r.person(a.ID).Name, "$", "$$")+"${2}")
		}
	}
	return text
}

// missing returns the members of the squad at that time without a test in the
// session, and how many members there were.
func (r *reporter) missing(squad string, at time.Time, tests []schemas.Outcome) (missing []chart.Person, expected int) {
	member := func(id string, squads []schemas.Membership) {
		a := schemas.Athlete{Squads: squads}
		if !a.In(squad, at) {
			return
		}
		expected++
		if !slices.ContainsFunc(tests, func(o schemas.Outcome) bool { return o.Athlete == id }) {
			missing = append(missing, r.person(id))
		}
	}
	if r.club != nil {
		for i := range r.club.Athletes {
			member(r.club.Athletes[i].ID, r.club.Athletes[i].Squads)
		}
	} else {
		for _, row := range r.roster {
			member(row.ID, row.Squads)
		}
	}
	order := collate.New(language.Und)
	slices.SortFunc(missing, func(a, b chart.Person) int { return order.CompareString(a.Name, b.Name) })
	return missing, expected
}

// effects are the squad's shifts, which depend on the club's settings.
func (r *reporter) effects(d *page.Data, session []schemas.Outcome) []assess.Effect {
	if r.club == nil {
		return nil
	}
	past := map[string][]schemas.Outcome{}
	for _, t := range d.Tests {
		if past[t.Outcome.Athlete] == nil {
			for _, h := range t.History {
				past[t.Outcome.Athlete] = append(past[t.Outcome.Athlete], h.Outcome)
			}
		}
	}
	s := assess.From(r.club.Thresholds)
	out := []assess.Effect{assess.SquadEffect(session, past, schemas.MeasureHRex, 0, s)}
	if d.Protocol != nil && len(d.Protocol.Recovery) > 0 {
		out = append(out, assess.SquadEffect(session, past, schemas.MeasureHRR, int(d.Protocol.Recovery[0]/time.Second), s))
	}
	return out
}
