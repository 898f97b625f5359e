package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"canter.example/alerts/digest"
	"canter.example/alerts/schedule"
	page "canter.example/cmd/canter/report"
	"canter.example/cmd/canter/season"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

// athleteEnd is an athlete at the season's end, the form of a line of JSON.
type athleteEnd struct {
	About    string         `json:"about"`
	Athlete  string         `json:"athlete"`
	Name     string         `json:"name"`
	Tests    int            `json:"tests"`
	Good     int            `json:"good"`
	Check    int            `json:"check"`
	Reject   int            `json:"reject"`
	Last     time.Time      `json:"last"` // start of the last valid test
	HRexPct  schemas.Number `json:"hrex_pct"`
	HRexMove schemas.Number `json:"hrex_change"` // from baseline, in points of %HRmax
	HRR      schemas.Number `json:"hrr60_bpm"`
	HRRMove  schemas.Number `json:"hrr60_change"`
	Alerts   int            `json:"alerts"`
}

// summary prints one line an athlete, and the story to compare it with.
func (d *demo) summary(ctx context.Context) error {
	tests, err := d.pipe.history.Tests(ctx, history.TestFilter{})
	if err != nil {
		return err
	}
	alerts, err := d.pipe.history.Alerts(ctx, history.AlertFilter{})
	if err != nil {
		return err
	}
	by := map[string][]schemas.Outcome{}
	for _, o := range tests {
		by[o.Athlete] = append(by[o.Athlete], o)
	}
	told := map[string]int{}
	other := map[schemas.RuleID]int{}
	for _, a := range alerts {
		if a.Athlete == "" {
			other[a.Rule]++
		} else if a.State != schemas.AlertWithdrawn {
			told[a.Athlete]++
		}
	}
	var ends []athleteEnd
	for _, id := range slices.Sorted(maps.Keys(by)) {
		e, err := d.athlete(ctx, id, by[id])
		if err != nil {
			return err
		}
		e.Alerts = told[id]
		ends = append(ends, e)
	}
	if d.asJSON {
		return errors.Join(jsonLines(d.std.out, ends...), d.storyJSON())
	}
	rows := make([][]string, len(ends))
	for i := range ends {
		rows[i] = ends[i].row(d.club)
	}
	d.print("\nSeason's end\n")
	if err := table(d.std.out, []string{"athlete", "", "tests", "good", "check", "reject", "last", "HRex %", "from baseline", "HRR60", "from baseline", "alerts"}, rows); err != nil {
		return err
	}
	for _, r := range slices.Sorted(maps.Keys(other)) {
		d.print("%s: %d\n", r, other[r])
	}
	d.print("\nWhat was put into the season\n")
	for _, s := range d.season.Story {
		d.print("%s\n", storyLine(s))
	}
	return nil
}

func (d *demo) athlete(ctx context.Context, id string, tests []schemas.Outcome) (athleteEnd, error) {
	n := map[schemas.Quality]int{}
	last := tests[len(tests)-1]
	for _, o := range tests {
		n[o.Quality]++
		if o.Valid() {
			last = o
		}
	}
	e := athleteEnd{
		About: "athlete", Athlete: id, Name: d.club.NameOf(id), Tests: len(tests), Good: n[schemas.Good], Check: n[schemas.Check], Reject: n[schemas.Reject],
		Last: last.Start.UTC(), HRexPct: last.HRexPct,
	}
	a, ok, err := d.pipe.history.Assessment(ctx, last.TestID)
	if err != nil || !ok {
		return e, err
	}
	if c := a.Comparison(schemas.MeasureHRex, 0); c != nil {
		e.HRexMove = c.Change
	}
	if c := a.Comparison(schemas.MeasureHRR, 60); c != nil {
		e.HRR, e.HRRMove = c.Value, c.Change
	}
	return e, nil
}

func (e *athleteEnd) row(c *club.Club) []string {
	row := []string{
		e.Athlete, e.Name, fmt.Sprint(e.Tests), fmt.Sprint(e.Good), fmt.Sprint(e.Check), fmt.Sprint(e.Reject),
		e.Last.In(c.Zone).Format("2 Jan"), e.HRexPct.Text(1), e.HRexMove.Signed(1), e.HRR.Text(0), e.HRRMove.Signed(1), "",
	}
	if e.Alerts > 0 {
		row[11] = fmt.Sprint(e.Alerts)
	}
	return row
}

// storyLine is one event of the season beside what canter should make of it.
func storyLine(s season.Story) string {
	weeks := fmt.Sprintf("week %d", s.FromWeek)
	if s.ToWeek > s.FromWeek {
		weeks = fmt.Sprintf("weeks %d to %d", s.FromWeek, s.ToWeek)
	}
	who := ""
	if s.Name != "" {
		who = s.Name + ": "
	}
	return fmt.Sprintf("  %-14s %s%s To expect: %s", weeks, who, s.What, s.Expect)
}

func (d *demo) storyJSON() error {
	for _, s := range d.season.Story {
		err := jsonLines(d.std.out, struct {
			About    string `json:"about"`
			FromWeek int    `json:"from_week"`
			ToWeek   int    `json:"to_week"`
			Name     string `json:"name"`
			What     string `json:"what"`
			Expect   string `json:"expect"`
		}{"put in", s.FromWeek, s.ToWeek, s.Name, s.What, s.Expect})
		if err != nil {
			return err
		}
	}
	return nil
}

// results writes what staff would have seen: chat, digests, reports.
func (d *demo) results(ctx context.Context) error {
	files := map[string]func(w io.Writer) error{
		"chat.html": func(w io.Writer) error {
			return d.said.WritePage(w, d.club.Name+": what chat was told",
				"The season of an invented club as staff would read it in chat: people, heart rates and dates are made up.", d.club.Zone)
		},
		"digest.txt": func(w io.Writer) error { return d.digests(ctx, w) },
	}
	for i := range d.club.Squads {
		squad := d.club.Squads[i].ID
		files["report-"+squad+".html"] = func(w io.Writer) error { return d.report(ctx, squad, w) }
	}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		var b bytes.Buffer
		if err := files[name](&b); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if b.Len() == 0 {
			continue
		}
		if err := os.WriteFile(filepath.Join(d.dir, name), b.Bytes(), 0o600); err != nil {
			return err
		}
		if d.asJSON {
			err := jsonLines(d.std.out, struct {
				About string `json:"about"`
				File  string `json:"file"`
			}{"left behind", filepath.Join(d.dir, name)})
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// digests writes each squad's last week with tests and the month it was in.
func (d *demo) digests(ctx context.Context, w io.Writer) error {
	last := d.season.Days[len(d.season.Days)-1].Date
	for i := range d.club.Squads {
		squad := d.club.Squads[i].ID
		for _, of := range []struct {
			kind   digest.Kind
			period schedule.Period
		}{{digest.Week, schedule.WeekOf(last, d.club.Zone)}, {digest.Month, schedule.MonthOf(last, d.club.Zone)}} {
			g, err := digest.Read(ctx, d.pipe.history, d.club, of.kind, squad, of.period)
			if err != nil {
				return err
			}
			if _, err := fmt.Fprintln(w, strings.TrimRight(g.Text(d.club), "\n")+"\n"); err != nil {
				return err
			}
		}
	}
	return nil
}

// report writes a squad's last session.
func (d *demo) report(ctx context.Context, squad string, w io.Writer) error {
	session, err := latestSession(ctx, d.pipe.history, squad)
	if errors.Is(err, errNoTests) {
		return nil
	}
	if err != nil {
		return err
	}
	data, err := page.Gather(ctx, d.pipe.history, &page.Names{Club: d.club, Style: d.club.Privacy.ChatNames}, session)
	if err != nil {
		return err
	}
	if err := data.ReadBeside(ctx, d.pipe.history); err != nil {
		return err
	}
	data.Made = d.now()
	return page.Write(w, *data)
}

// next says what to try with what is left behind.
func (d *demo) next() error {
	rel := d.dir
	if wd, err := os.Getwd(); err == nil {
		if r, err := filepath.Rel(wd, d.dir); err == nil && filepath.IsLocal(r) {
			rel = r
		}
	}
	data := filepath.Join(rel, "data")
	_, err := fmt.Fprintf(d.std.out, `
Left behind in %[1]s:
  chat.html                  what chat was told, with pictures: open it in a browser
  digest.txt                 each squad's last week and month
  report-SQUAD.html          each squad's last session; prints on A4
  club.yaml, athletes.csv    the invented club; its files are in inbox
  data                       broker and history.db
Next, for example:
  canter tests list --data %[2]s --doubtful
  canter sql --data %[2]s "SELECT athlete, count(*) AS tests, avg(hrex_pct) AS hrex FROM tests WHERE quality = 'good' GROUP BY athlete"
  canter serve --club %[1]s/club.yaml --data %[2]s      and open http://127.0.0.1:7466/
`, rel, data)
	return err
}
