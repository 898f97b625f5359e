package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"canter.example/ingest/formats"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/scorer/engine"
	"canter.example/scorer/identify"
)

type scoreCmd struct {
	Files    []string      `arg:"" name:"file" help:"Heart-rate files: FIT, TCX, GPX, CSV, or a ZIP of these." type:"path"`
	Club     string        `help:"Club file, for protocols, athletes, HRmax and time zone." type:"path" placeholder:"FILE"`
	Protocol string        `help:"Protocol of the club file." placeholder:"ID"`
	Duration string        `help:"Length of the test, when no club file says." placeholder:"4m"`
	HRex     string        `name:"hrex" help:"Averaging of HRex: final-mean or peak-mean, and its window." default:"final-mean:60s"`
	Recovery []string      `help:"Delays after the end at which HRR is read." default:"60s"`
	HRmax    float64       `name:"hrmax" help:"Measured HRmax in bpm, for %HRmax." placeholder:"BPM"`
	Start    string        `help:"Start of the test, given by hand." placeholder:"TIME"`
	Around   string        `help:"Planned start of the test." placeholder:"TIME"`
	Within   time.Duration `help:"How far the start may be from --around, either way." default:"10m"`
	Zone     string        `help:"Time zone of TIMEs and of clock times in CSV files (default: the club's, else UTC)." placeholder:"AREA/CITY"`
	Explain  bool          `help:"Say how each number came about."`
	Format   string        `help:"Form of the answer: ${enum}." enum:"table,json" default:"table"`
}

// Help is shown below the options.
func (scoreCmd) Help() string {
	return `TIME is RFC 3339 (2026-09-01T09:30:00Z), or local: "2026-09-01 09:30", or 09:30
on the day of the file. JSON is one object a line; absent numbers are null.

Examples:
  canter score --duration 4m --hrmax 196 AKI.fit
  canter score --club club.yaml --protocol weekly --format json inbox/*.fit
  canter score --duration 4m --around 09:30 --within 10m --zone Europe/Madrid session.zip`
}

// Run scores the files and prints a line for each test, or for each trace
// without one.
func (c *scoreCmd) Run(ctx context.Context, std streams) error {
	s, err := c.setup()
	if err != nil {
		return err
	}
	failed := false
	enc := json.NewEncoder(std.out)
	var rows [][]string
	shown := newProgress(std.err, "files", len(c.Files))
	if c.Format == "json" && isTerminal(std.out) {
		shown = newProgress(nil, "", 0) // the lines themselves are the progress
	}
	defer shown.clear()
	for i, name := range c.Files {
		if err := ctx.Err(); err != nil {
			return err
		}
		shown.to(i)
		lines, err := s.file(name)
		if err != nil {
			failed = true
			shown.clear()
			_, _ = fmt.Fprintf(std.err, "canter: %s\n", printable(err.Error()))
			continue
		}
		for _, l := range lines {
			if c.Format == "json" {
				if err := enc.Encode(l); err != nil {
					return err
				}
				continue
			}
			rows = append(rows, l.row(s.zone))
			if l.text != "" {
				_, _ = fmt.Fprintf(std.out, "%s\n%s\n", l.File, l.text)
			}
		}
	}
	shown.clear()
	if c.Format == "table" && len(rows) > 0 {
		if err := table(std.out, []string{"file", "athlete", "protocol", "start (" + s.zone.String() + ")", "conf.", "HRex", "%HRmax", "end HR", s.hrrHeading(), "load", "coverage", "quality", "reasons"}, rows); err != nil {
			return err
		}
	}
	if failed {
		return errSaid
	}
	return nil
}

// scoring is what the options come to.
type scoring struct {
	cmd      *scoreCmd
	club     *club.Club
	zone     *time.Location
	protocol schemas.Protocol
}

func (c *scoreCmd) setup() (*scoring, error) {
	s := &scoring{cmd: c, zone: time.UTC}
	if c.HRmax != 0 && (c.HRmax < 100 || c.HRmax > 230) {
		return nil, usagef("--hrmax %g: want bpm between 100 and 230", c.HRmax)
	}
	if c.Start != "" && c.Around != "" {
		return nil, usagef("--start gives the start by hand, --around a planned time: give one of them")
	}
	if c.Within <= 0 {
		return nil, usagef("--within must be positive")
	}
	if c.Club != "" {
		cl, err := club.Load(c.Club)
		if err != nil {
			return nil, err
		}
		s.club, s.zone = cl, cl.Zone
	}
	if c.Zone != "" {
		z, err := time.LoadLocation(c.Zone)
		if err != nil {
			return nil, usagef("--zone %q is no time zone: want a name such as Europe/Madrid", c.Zone)
		}
		s.zone = z
	}
	for flag, text := range map[string]string{"--start": c.Start, "--around": c.Around} {
		if _, err := parseTime(text, time.Time{}, s.zone); err != nil {
			return nil, usagef("%s: %v", flag, err)
		}
	}
	return s, s.chooseProtocol()
}

func (s *scoring) chooseProtocol() error {
	c := s.cmd
	switch {
	case c.Protocol != "" && s.club == nil:
		return usagef("--protocol names a protocol of the club file: give --club as well")
	case c.Protocol != "":
		p := s.club.Protocol(c.Protocol)
		if p == nil {
			return usagef("the club file has no protocol %q", c.Protocol)
		}
		s.protocol = *p
		return nil
	case s.club != nil && c.Duration == "":
		if len(s.club.Protocols) != 1 {
			return usagef("the club file has %d protocols: choose with --protocol", len(s.club.Protocols))
		}
		s.protocol = s.club.Protocols[0]
		return nil
	case c.Duration == "":
		return usagef("say what to look for: --duration 4m, or --club FILE --protocol ID")
	}
	return s.protocolByFlags()
}

func (s *scoring) protocolByFlags() error {
	c := s.cmd
	d, err := club.ParseDuration(c.Duration)
	if err != nil {
		return usagef("--duration: %v", err)
	}
	if d < 30*time.Second || d > 2*time.Hour {
		return usagef("--duration %s: tests of 30 s to 2 h can be scored", c.Duration)
	}
	p := club.DefaultProtocol("given", d)
	if p.HRex, p.HRexWindow, err = club.ParseHRex(c.HRex); err != nil {
		return usagef("--hrex: %v", err)
	}
	if p.HRexWindow > d {
		return usagef("--hrex: the window of %s is longer than the test", p.HRexWindow)
	}
	p.Recovery = nil
	for _, r := range c.Recovery {
		v, err := club.ParseDuration(r)
		if err != nil || v <= 0 {
			return usagef("--recovery %q: want a time such as 60s", r)
		}
		p.Recovery = append(p.Recovery, v)
	}
	slices.Sort(p.Recovery) // a protocol's delays ascend
	p.Recovery = slices.Compact(p.Recovery)
	p.Version = p.Digest()
	s.protocol = p
	return nil
}

// file scores every trace of one file.
func (s *scoring) file(name string) ([]scoreLine, error) {
	content, err := readLimited(name, s.maxSize())
	if err != nil {
		return nil, err
	}
	origin, date := s.origin(name)
	traces, _, err := formats.Decode(name, content, formats.Options{Zone: s.zone, Date: date})
	if err != nil {
		return nil, err
	}
	var lines []scoreLine
	for i := range traces {
		ls, err := s.trace(name, &traces[i], origin, len(traces))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		lines = append(lines, ls...)
	}
	return lines, nil
}

func (s *scoring) maxSize() int64 {
	if s.club != nil {
		return s.club.Files.MaxSize
	}
	return club.DefaultMaxSize
}

func readLimited(name string, limit int64) ([]byte, error) {
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, fmt.Errorf("%s: no such file", name)
	case err != nil:
		return nil, err
	case info.IsDir():
		return nil, fmt.Errorf("%s: a folder: name the files in it, such as %s", name, filepath.Join(name, "*.fit"))
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s: not a regular file", name)
	case info.Size() > limit:
		return nil, fmt.Errorf("%s: %d bytes, more than the limit of %d: raise files.max_size in the club file, and give --club", name, info.Size(), limit)
	}
	return os.ReadFile(name) //nolint:gosec // the user names it
}

// origin is where the club would have found the file.
func (s *scoring) origin(name string) (schemas.Origin, time.Time) {
	origin := schemas.Origin{Path: filepath.ToSlash(filepath.Base(name))}
	if s.club == nil {
		return origin, time.Time{}
	}
	for _, w := range s.club.Watched() {
		if rel, err := filepath.Rel(w.Folder.Path, name); err == nil && filepath.IsLocal(rel) {
			origin = schemas.Origin{Folder: w.Called(), Path: filepath.ToSlash(rel), Squad: w.Squad}
		}
	}
	date, _ := identify.Date(s.club, origin)
	return origin, date
}

func (s *scoring) trace(name string, tr *schemas.Trace, origin schemas.Origin, traces int) ([]scoreLine, error) {
	req := engine.Request{Protocol: &s.protocol, Explain: s.cmd.Explain, HRmax: schemas.HRmax{Source: schemas.HRmaxUnknown}}
	var athlete *string
	var unidentified string
	var person schemas.Athlete
	if s.club != nil {
		who, err := identify.Who(s.club, identify.Question{Origin: origin, Trace: tr, Traces: traces})
		if err != nil {
			unidentified = err.Error()
		} else {
			person = *who.Athlete
			athlete, req.HRmax = &person.ID, person.HRmaxAt(tr.Start.In(s.zone).Year())
		}
	}
	if athlete == nil && tr.Label != "" {
		athlete = &tr.Label
	}
	if s.cmd.HRmax != 0 {
		req.HRmax = schemas.HRmax{BPM: schemas.Num(s.cmd.HRmax), Source: schemas.HRmaxMeasured}
		person.HRmax = req.HRmax
	}
	var err error
	if req.Start, err = parseTime(s.cmd.Start, tr.Start, s.zone); err != nil {
		return nil, fmt.Errorf("--start: %w", err)
	}
	if req.Around, err = parseTime(s.cmd.Around, tr.Start, s.zone); err != nil {
		return nil, fmt.Errorf("--around: %w", err)
	}
	if !req.Around.IsZero() {
		req.Within = s.cmd.Within
	}
	res := engine.Score(tr, req)
	load := loadOf(tr, &person, tr.Start.In(s.zone).Year())
	var lines []scoreLine
	for i := range res.Tests {
		lines = append(lines, s.line(name, athlete, &res.Tests[i].Outcome))
	}
	if len(lines) == 0 {
		l := scoreLine{File: name, Athlete: athlete, Protocol: s.protocol.ID, Quality: schemas.Reject, Reasons: []string{"no test found"}}
		if res.None != nil {
			l.Reasons = []string{res.None.Text}
		}
		lines = append(lines, l)
	}
	for i := range lines {
		lines[i].Load, lines[i].Unidentified = load, unidentified
	}
	if res.Explanation != nil {
		lines[0].Explanation, lines[0].text = res.Explanation, res.Explanation.Text()
	}
	if tr.Part != "" {
		for i := range lines {
			lines[i].File += "#" + tr.Part
		}
	}
	return lines, nil
}

// parseTime reads a TIME of the command line; day gives the date of a bare
// clock time. "" is the zero time.
func parseTime(text string, day time.Time, zone *time.Location) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
		return t, nil
	}
	for _, layout := range []string{"2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02T15:04"} {
		if t, err := time.ParseInLocation(layout, text, zone); err == nil {
			return t, nil
		}
	}
	for _, layout := range []string{"15:04:05", "15:04"} {
		if t, err := time.Parse(layout, text); err == nil {
			y, m, d := day.In(zone).Date()
			return time.Date(y, m, d, t.Hour(), t.Minute(), t.Second(), 0, zone), nil
		}
	}
	return time.Time{}, errors.New("can't read the time " + fmt.Sprintf("%q", text) + `: want 2026-09-01T09:30:00Z, "2026-09-01 09:30" or 09:30`)
}
