package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"time"

	"canter.example/cmd/canter/report"
	"canter.example/cmd/canter/staff"
	"canter.example/schemas"
	"canter.example/schemas/history"
)

type testsCmd struct {
	List    testsListCmd    `cmd:"" help:"List tests."`
	Show    testsShowCmd    `cmd:"" help:"Show one test: its numbers, its comparison, its alerts and what staff did."`
	Exclude testsExcludeCmd `cmd:"" help:"Leave a test out of baselines and take back its alerts."`
	Accept  testsAcceptCmd  `cmd:"" help:"Let a doubtful test count."`
	Restore testsRestoreCmd `cmd:"" help:"Take back an exclude, an accept or a moved start."`
	Start   testsStartCmd   `cmd:"" help:"Move the start of a test."`
}

// Help is shown below the commands.
func (testsCmd) Help() string {
	return `Each change is kept in the corrections table with who made it, when and why, and
the athlete's later tests are assessed again.

As JSON a test is as canter serve publishes it: list and the commands that change
one print it, show adds assessment, alerts, corrections, context and trace to it.

Examples:
  canter tests list --squad first --from 2026-09-01
  canter tests show t41c09a7de02b55d1
  canter tests exclude t41c09a7de02b55d1 --why "strap slipped"
  canter tests start t41c09a7de02b55d1 --at "2026-09-01 09:31:20" --why "started late"`
}

type testsListCmd struct {
	Athlete  string   `help:"Only this athlete." placeholder:"ID"`
	Squad    string   `help:"Only this squad." placeholder:"ID"`
	Protocol string   `help:"Only this protocol." placeholder:"ID"`
	Session  []string `help:"Only this session (squad/protocol/date); several with commas between."`
	From     string   `help:"Only tests from this day on." placeholder:"DATE"`
	To       string   `help:"Only tests before this day." placeholder:"DATE"`
	Doubtful bool     `help:"Only tests that are not good and that staff said nothing about."`
	Limit    int      `help:"Only the latest so many; 0 for all." default:"0"`
	listing
	places
}

// Run lists tests.
func (c *testsListCmd) Run(ctx context.Context, std streams) error {
	f := history.TestFilter{Athlete: c.Athlete, Squad: c.Squad, Protocol: c.Protocol, Sessions: c.Session, Limit: c.Limit}
	if c.Doubtful {
		f.Limit = 0 // the latest of those, not those of the latest
	}
	var err error
	if f.From, err = parseDay(c.From); err != nil {
		return err
	}
	if f.To, err = parseDay(c.To); err != nil {
		return err
	}
	h, err := c.existingHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	tests, err := h.Tests(ctx, f)
	if err != nil {
		return err
	}
	var list []*schemas.Outcome
	for i := range tests {
		o := &tests[i]
		if c.Doubtful && (o.Quality == schemas.Good || o.Staff != schemas.NoVerdict) {
			continue
		}
		list = append(list, o)
	}
	if c.Limit > 0 && len(list) > c.Limit {
		list = list[len(list)-c.Limit:]
	}
	return c.tests(std.out, list...)
}

// tests writes tests in the form asked for.
func (f listing) tests(w io.Writer, list ...*schemas.Outcome) error {
	if f.json() {
		return jsonLines(w, list...)
	}
	rows := make([][]string, len(list))
	for i, o := range list {
		rows[i] = testRow(o)
	}
	return table(w, []string{"test", "athlete", "session", "start (UTC)", "HRex", "%HRmax", "HRR", "coverage", "quality", "staff", "reasons"}, rows)
}

func testRow(o *schemas.Outcome) []string {
	hrr := "-"
	if len(o.Recovery) > 0 {
		hrr = o.Recovery[0].BPM.Text(1)
	}
	return []string{
		string(o.TestID), o.Athlete, o.Session, o.Start.UTC().Format("2006-01-02 15:04:05"), o.HRexBPM.Text(1), o.HRexPct.Text(1),
		hrr, fmt.Sprintf("%.0f %%", 100*o.Coverage), string(o.Quality), string(o.Staff), reasons(o),
	}
}

func reasons(o *schemas.Outcome) string {
	var texts []string
	for _, r := range o.Reasons {
		texts = append(texts, r.Text)
	}
	return strings.Join(texts, "; ")
}

func parseDay(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return time.Time{}, usagef("%q is no day: want 2026-09-01", text)
	}
	return t, nil
}

type testsShowCmd struct {
	Test  string `arg:"" help:"Test id."`
	Trace bool   `help:"Add the trace window, second by second."`
	listing
	places
}

// shown is the JSON form of tests show.
type shown struct {
	Test        schemas.Outcome       `json:"test"`
	Assessment  *schemas.Assessment   `json:"assessment"`
	Alerts      []schemas.Alert       `json:"alerts"`
	Corrections []schemas.Correction  `json:"corrections"`
	Context     report.Beside         `json:"context"`
	Trace       []schemas.TraceSecond `json:"trace,omitempty"`
}

// Run shows one test.
func (c *testsShowCmd) Run(ctx context.Context, std streams) error {
	h, err := c.existingHistory(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = h.Close() }()
	s, err := c.gather(ctx, h)
	if err != nil {
		return err
	}
	if c.json() {
		return jsonLines(std.out, s)
	}
	return s.print(std)
}

func (c *testsShowCmd) gather(ctx context.Context, h history.Store) (*shown, error) {
	o, err := findTest(ctx, h, c.Test)
	if err != nil {
		return nil, err
	}
	s := &shown{Test: o}
	if a, ok, err := h.Assessment(ctx, o.TestID); err != nil {
		return nil, err
	} else if ok {
		s.Assessment = &a
	}
	if s.Alerts, err = h.Alerts(ctx, history.AlertFilter{TestID: o.TestID}); err != nil {
		return nil, err
	}
	if s.Corrections, err = h.AllCorrections(ctx, o.TestID); err != nil {
		return nil, err
	}
	if s.Context, err = report.ReadBeside(ctx, h, &o); err != nil {
		return nil, err
	}
	if c.Trace {
		if s.Trace, err = h.TraceSeconds(ctx, o.TestID); err != nil {
			return nil, err
		}
	}
	return s, nil
}

func findTest(ctx context.Context, h history.Store, id string) (schemas.Outcome, error) {
	o, ok, err := h.Test(ctx, schemas.TestID(id))
	if err != nil {
		return o, err
	}
	if !ok {
		return o, fmt.Errorf("there is no test %q: canter tests list names them", id)
	}
	return o, nil
}

func (s *shown) print(std streams) error {
	o := &s.Test
	_, _ = fmt.Fprintf(std.out, "test %s of %s, %s, file %s\n", o.TestID, o.Athlete, o.Session, o.FileID.Short())
	_, _ = fmt.Fprintf(std.out, "start %s (%s, confidence %.2f), %s\n", o.Start.UTC().Format(time.RFC3339), o.StartSource, o.StartConfidence, o.Duration)
	hrmax := "HRmax " + o.HRmax.BPM.Text(0) + " " + string(o.HRmax.Source)
	_, _ = fmt.Fprintf(std.out, "HRex %s bpm, %s %%HRmax (%s); end HR %s bpm; peak %s bpm\n", o.HRexBPM.Text(1), o.HRexPct.Text(1), hrmax, o.EndHR.Text(1), o.PeakBPM.Text(0))
	for _, r := range o.Recovery {
		_, _ = fmt.Fprintf(std.out, "HRR%d %s bpm, %s %% of end HR\n", r.Seconds, r.BPM.Text(1), r.PctEnd.Text(1))
	}
	worth := string(o.Quality)
	if o.Staff != schemas.NoVerdict {
		worth += ", " + string(o.Staff) + " by staff"
	}
	_, _ = fmt.Fprintf(std.out, "coverage %.0f %%, quality %s\n", 100*o.Coverage, worth)
	for _, r := range o.Reasons {
		_, _ = fmt.Fprintf(std.out, "  - %s\n", printable(r.Text))
	}
	if s.Assessment != nil {
		if err := table(std.out, []string{"measure", "value", "unit", "state", "previous", "change", "baseline", "n", "SD used", "change", "%", "z", "expected"}, comparisonRows(s.Assessment)); err != nil {
			return err
		}
	}
	for _, line := range s.Context.Lines() {
		_, _ = fmt.Fprintf(std.out, "context, no verdict: %s\n", printable(line))
	}
	for _, a := range s.Alerts {
		_, _ = fmt.Fprintf(std.out, "alert %s: %s, %s\n", a.ID, a.Rule, a.State)
	}
	for _, c := range s.Corrections {
		_, _ = fmt.Fprintf(std.out, "correction: %s by %s, %s: %s\n", c.Action, printable(c.Who), c.When.UTC().Format(time.RFC3339), printable(c.Why))
	}
	if len(s.Trace) == 0 {
		return nil
	}
	var rows [][]string
	for _, t := range s.Trace {
		rows = append(rows, []string{fmt.Sprint(t.Second), t.Raw.Text(0), t.Clean.Text(0), t.Dropped, t.Speed.Text(2)})
	}
	return table(std.out, []string{"second", "raw", "clean", "dropped", "speed"}, rows)
}

func comparisonRows(a *schemas.Assessment) [][]string {
	var rows [][]string
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		name := string(c.Measure)
		if c.Seconds > 0 {
			name += fmt.Sprint(c.Seconds)
		}
		rows = append(rows, []string{
			name, c.Value.Text(1), c.Unit, string(c.State), c.Previous.Text(1), c.PrevChange.Signed(1), c.Mean.Text(1), fmt.Sprint(c.N),
			c.SDUsed.Text(2), c.Change.Signed(1), c.Pct.Signed(1), c.Z.Signed(1), c.PredLow.Text(1) + " to " + c.PredHigh.Text(1),
		})
	}
	return rows
}

// correctionFlags are shared by the commands that change something.
type correctionFlags struct {
	Test string `arg:"" help:"Test id."`
	Why  string `help:"Why, in your own words; kept in the audit." required:"" placeholder:"TEXT"`
	Who  string `help:"Who says so (default: the user of this machine)." placeholder:"NAME" env:"CANTER_WHO"`
	Club string `help:"Club file, needed when no canter serve is running." type:"path" placeholder:"FILE" env:"CANTER_CLUB"`
	listing
	places
}

type (
	testsExcludeCmd struct{ correctionFlags }
	testsAcceptCmd  struct{ correctionFlags }
	testsRestoreCmd struct{ correctionFlags }
	testsStartCmd   struct {
		At string `help:"New start: RFC 3339, or local to the club." required:"" placeholder:"TIME"`
		correctionFlags
	}
)

// Run leaves a test out.
func (c *testsExcludeCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	return c.correct(ctx, std, log, schemas.ActionExclude, "")
}

// Run accepts a doubtful test.
func (c *testsAcceptCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	return c.correct(ctx, std, log, schemas.ActionAccept, "")
}

// Run takes corrections back.
func (c *testsRestoreCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	return c.correct(ctx, std, log, schemas.ActionRestore, "")
}

// Run moves a start.
func (c *testsStartCmd) Run(ctx context.Context, std streams, log *slog.Logger) error {
	return c.correct(ctx, std, log, schemas.ActionStart, c.At)
}

// correct publishes a correction, waits until it has been worked in and prints
// the test as it is then.
func (c *correctionFlags) correct(ctx context.Context, std streams, log *slog.Logger, action schemas.CorrectionAction, at string) error {
	if strings.TrimSpace(c.Why) == "" {
		return usagef("--why is empty: say why, it is kept in the audit")
	}
	return c.withPipeline(ctx, aside(std, c.json()), log, c.Club, func(p *pipeline) error {
		o, err := findTest(ctx, p.history, c.Test)
		if err != nil {
			return err
		}
		change := staff.Change{Action: action, Who: c.who(), Why: c.Why}
		if action == schemas.ActionStart {
			if change.Start, err = startTime(at, o.Start, p); err != nil {
				return err
			}
		}
		if _, err := (staff.Desk{Broker: p.broker}).Correct(ctx, &o, change); err != nil {
			return usageOf(err)
		}
		if err := p.wait(ctx); err != nil {
			return err
		}
		o, err = findTest(ctx, p.history, c.Test)
		if err != nil {
			return err
		}
		return c.tests(std.out, &o)
	})
}

// usageOf makes what staff left out or said at too great a length wrong usage.
func usageOf(err error) error {
	for _, wrong := range []error{staff.ErrNoReason, staff.ErrNoName, staff.ErrEmpty, staff.ErrTooLong, staff.ErrNoStart} {
		if errors.Is(err, wrong) {
			return usagef("%v", err)
		}
	}
	return err
}

// startTime reads the new start. Local times need the club's zone.
func startTime(at string, near time.Time, p *pipeline) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339Nano, at); err == nil {
		return t, nil
	}
	if p.club == nil {
		return time.Time{}, usagef("--at %q: give --club FILE for its time zone, or the time as 2026-09-01T09:31:20Z", at)
	}
	t, err := parseTime(at, near, p.club.Zone)
	if err != nil {
		return t, usagef("--at: %v", err)
	}
	return t, nil
}

func (c *correctionFlags) who() string { return whoWrites(c.Who) }
