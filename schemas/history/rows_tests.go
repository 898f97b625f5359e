package history

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"canter.example/schemas"
)

var testColumns = cols(`test_id file_id part athlete squad protocol protocol_version session
	~start start_ms start_source start_confidence duration_s
	hrex_bpm hrex_pct hrex_se_bpm hrmax_bpm hrmax_source hrmax_see_bpm peak_bpm end_hr_bpm
	-hrr60_bpm -hrr60_pct_end -hrr60_se_bpm recoveries stages recovery_tau_s recovery_tau_se_s
	band_s speed_kmh speed_cv_pct coverage quality -reasons reasons_json
	microcycle_day surface staff scorer_version version`)

func checkTest(o *schemas.Outcome) error {
	if o.TestID == "" {
		return fmt.Errorf("%w: a test without an id", ErrInvalid)
	}
	if !allFinite(o.Coverage, o.StartConfidence) {
		return fmt.Errorf("%w: the coverage or start confidence of test %s is not a number", ErrInvalid, o.TestID)
	}
	return checkVersion(o.Version)
}

func testValues(o *schemas.Outcome, at clock) ([]any, error) {
	r := forSQLite(testColumns, at)
	err := putTest(r, o)
	return r.values, err
}

func putTest(r *record, o *schemas.Outcome) error {
	if err := checkTest(o); err != nil {
		return err
	}
	recoveries, err := jsonText(o.Recovery)
	if err != nil {
		return fmt.Errorf("recoveries of test %s: %w: %w", o.TestID, ErrInvalid, err)
	}
	stages, err := jsonText(o.Stages)
	if err != nil {
		return fmt.Errorf("stages of test %s: %w: %w", o.TestID, ErrInvalid, err)
	}
	reasons, err := jsonText(o.Reasons)
	if err != nil {
		return fmt.Errorf("reasons of test %s: %w: %w", o.TestID, ErrInvalid, err)
	}
	hrr60, _ := o.HRR(60)
	r.begin(testColumns)
	r.text(string(o.TestID), string(o.FileID), o.Part, o.Athlete, o.Squad, o.Protocol, o.ProtocolVersion, o.Session)
	r.time(o.Start)
	r.text(string(o.StartSource))
	r.float(o.StartConfidence, o.Duration.Seconds())
	r.number(o.HRexBPM, o.HRexPct, o.HRexSE, o.HRmax.BPM)
	r.text(string(o.HRmax.Source))
	r.number(o.HRmax.SEE, o.PeakBPM, o.EndHR, hrr60.BPM, hrr60.PctEnd, hrr60.SE)
	r.text(recoveries, stages)
	r.number(o.RecoveryTau, o.RecoveryTauSE, o.BandSeconds, o.SpeedKMH, o.SpeedCV)
	r.float(o.Coverage)
	r.text(string(o.Quality), reasonsText(o.Reasons), reasons, o.MicrocycleDay, o.Surface, string(o.Staff))
	r.int(int64(o.ScorerVersion))
	r.uint(uint64(o.Version))
	return nil
}

// reasonsText joins the sentences of the reasons, for people.
func reasonsText(rs []schemas.Reason) string {
	if len(rs) == 0 {
		return ""
	}
	texts := make([]string, len(rs))
	for i, r := range rs {
		texts[i] = r.Text
	}
	return strings.Join(texts, "; ")
}

// scanTest reads a test; more are destinations of columns behind its own.
func scanTest(scan scanner, more ...any) (schemas.Outcome, error) {
	var o schemas.Outcome
	var start, scorer int64
	var seconds float64
	var recoveries, stages, reasons string
	dest := []any{(*string)(&o.TestID), (*string)(&o.FileID), &o.Part, &o.Athlete, &o.Squad, &o.Protocol, &o.ProtocolVersion, &o.Session,
		&start, (*string)(&o.StartSource), &o.StartConfidence, &seconds,
		&o.HRexBPM, &o.HRexPct, &o.HRexSE, &o.HRmax.BPM, (*string)(&o.HRmax.Source), &o.HRmax.SEE, &o.PeakBPM, &o.EndHR,
		&recoveries, &stages, &o.RecoveryTau, &o.RecoveryTauSE,
		&o.BandSeconds, &o.SpeedKMH, &o.SpeedCV, &o.Coverage, (*string)(&o.Quality), &reasons,
		&o.MicrocycleDay, &o.Surface, (*string)(&o.Staff), &scorer, (*uint64)(&o.Version)}
	if err := scan(append(dest, more...)...); err != nil {
		return o, err
	}
	o.Start = fromMillis(start)
	o.Duration = time.Duration(math.Round(seconds * float64(time.Second)))
	o.ScorerVersion = int(scorer)
	var err error
	if o.Recovery, err = fromJSON[schemas.Recovery](recoveries); err != nil {
		return o, fmt.Errorf("recoveries of test %s: %w", o.TestID, err)
	}
	if o.Stages, err = fromJSON[schemas.StageHR](stages); err != nil {
		return o, fmt.Errorf("stages of test %s: %w", o.TestID, err)
	}
	if o.Reasons, err = fromJSON[schemas.Reason](reasons); err != nil {
		return o, fmt.Errorf("reasons of test %s: %w", o.TestID, err)
	}
	return o, nil
}

// checkWrite tells whether file, tests and traces of a SaveFile belong together.
func checkWrite(f *schemas.File, tests []schemas.Outcome, traces map[schemas.TestID][]schemas.TraceSecond) error {
	known := make(map[schemas.TestID]bool, len(tests))
	for i := range tests {
		o := &tests[i]
		switch {
		case o.FileID != f.ID:
			return fmt.Errorf("%w: test %s is of file %s, not of %s", ErrInvalid, o.TestID, o.FileID.Short(), f.ID.Short())
		case o.Version != f.Version:
			return fmt.Errorf("%w: test %s has version %d, its file %d", ErrInvalid, o.TestID, o.Version, f.Version)
		case known[o.TestID]:
			return fmt.Errorf("%w: test %s is given twice", ErrInvalid, o.TestID)
		}
		known[o.TestID] = true
	}
	for id := range traces {
		if !known[id] {
			return fmt.Errorf("%w: a trace of test %s, which is not among the tests", ErrInvalid, id)
		}
	}
	return nil
}

// matches tells whether a test passes the filter, Limit and IncludeRemoved
// left out.
func (f *TestFilter) matches(o *schemas.Outcome) bool {
	return (f.Athlete == "" || f.Athlete == o.Athlete) &&
		(f.Squad == "" || f.Squad == o.Squad) &&
		(f.Protocol == "" || f.Protocol == o.Protocol) &&
		(len(f.Sessions) == 0 || slices.Contains(f.Sessions, o.Session)) &&
		(f.File == "" || f.File == o.FileID) &&
		(f.From.IsZero() || millis(o.Start) >= millis(f.From)) &&
		(f.To.IsZero() || millis(o.Start) < millis(f.To))
}

// where gives the filter as a condition on the stored tests.
func (f *TestFilter) where() conditions {
	var c conditions
	c.equal("athlete", f.Athlete)
	c.equal("squad", f.Squad)
	c.equal("protocol", f.Protocol)
	c.among("session", f.Sessions)
	c.equal("file_id", string(f.File))
	c.within("start_ms", f.From, f.To)
	if f.NotGood {
		c.add("quality <> ?", string(schemas.Good))
	}
	return c
}

// where gives the filter as a condition on the alerts.
func (f *AlertFilter) where() conditions {
	var c conditions
	c.equal("squad", f.Squad)
	c.equal("athlete", f.Athlete)
	c.equal("test_id", string(f.TestID))
	c.among("session", f.Sessions)
	c.equal("state", string(f.State))
	c.within("about_ms", f.From, f.To)
	return c
}

func (f *NoteFilter) where() conditions {
	var c conditions
	c.equal("alert_id", f.Alert)
	c.equal("athlete", f.Athlete)
	c.within("made_ms", f.From, f.To)
	return c
}

// conditions gathers a WHERE clause and its arguments.
type conditions struct {
	terms []string
	args  []any
}

func (c *conditions) add(term string, args ...any) {
	c.terms = append(c.terms, term)
	c.args = append(c.args, args...)
}

// equal asks for a column's value, for nothing when the value is "".
func (c *conditions) equal(column, value string) {
	if value != "" {
		c.add(column+" = ?", value)
	}
}

// among asks for one of a column's values, for nothing when there are none.
func (c *conditions) among(column string, values []string) {
	if len(values) == 0 {
		return
	}
	args := make([]any, len(values))
	for i, v := range values {
		args[i] = v
	}
	c.add(column+" IN ("+marks(len(args))+")", args...)
}

// within asks for from ≤ column < to, in milliseconds; zero is open.
func (c *conditions) within(column string, from, to time.Time) {
	if !from.IsZero() {
		c.add(column+" >= ?", millis(from))
	}
	if !to.IsZero() {
		c.add(column+" < ?", millis(to))
	}
}

// sql returns " WHERE …", "" when nothing was asked for.
func (c *conditions) sql() string {
	if len(c.terms) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(c.terms, " AND ")
}

// marks returns n question marks, n > 0, with commas between.
func marks(n int) string { return "?" + strings.Repeat(", ?", n-1) }
