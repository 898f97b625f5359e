package history

import (
	"fmt"
	"math"
	"time"

	"canter.example/schemas"
)

// FileResult is a file with all that was found in it.
type FileResult struct {
	File schemas.File
	// New says that this was worked out as if nothing were known of the file; see
	// [Store.Known]. When something is, SaveResult stores nothing and returns
	// [ErrKnown]. SaveResults does not ask.
	New   bool
	Tests []schemas.Outcome
	// Traces holds the trace windows of Tests.
	Traces map[schemas.TestID][]schemas.TraceSecond
	// Loads has one entry for each trace of a known athlete.
	Loads []schemas.TraceLoad
	// Series are the daily values of a file of such.
	Series []schemas.SeriesValue
}

var loadColumns = cols(`file_id part athlete squad local_date ~start start_ms duration_s minutes coverage
	mean_bpm peak_bpm trimp trimp_male trimp_female edwards zone1_min zone2_min zone3_min zone4_min zone5_min
	hrmax_bpm hrmax_source hrmax_see_bpm -reasons reasons_json version`)

func loadValues(l *schemas.TraceLoad, at clock) ([]any, error) {
	r := forSQLite(loadColumns, at)
	err := putLoad(r, l)
	return r.values, err
}

func putLoad(r *record, l *schemas.TraceLoad) error {
	if l.Athlete == "" {
		return fmt.Errorf("%w: the load of part %q without an athlete", ErrInvalid, l.Part)
	}
	if !isDate(l.Date) {
		return fmt.Errorf("%w: the load of part %q has the date %q, want 2006-01-02", ErrInvalid, l.Part, l.Date)
	}
	z := &l.Zones
	if !allFinite(l.Minutes, l.Coverage, z[0], z[1], z[2], z[3], z[4]) {
		return fmt.Errorf("%w: minutes, coverage or zones of the load of part %q is not a number", ErrInvalid, l.Part)
	}
	reasons, err := jsonText(l.Reasons)
	if err != nil {
		return fmt.Errorf("reasons of the load of part %q: %w: %w", l.Part, ErrInvalid, err)
	}
	r.begin(loadColumns)
	r.text(string(l.FileID), l.Part, l.Athlete, l.Squad, l.Date)
	r.time(l.Start)
	r.float(l.Duration.Seconds(), l.Minutes, l.Coverage)
	r.number(l.MeanHR, l.PeakHR, l.TRIMP, l.TRIMPMale, l.TRIMPFemale, l.Edwards)
	r.float(z[0], z[1], z[2], z[3], z[4])
	r.number(l.HRmax.BPM)
	r.text(string(l.HRmax.Source))
	r.number(l.HRmax.SEE)
	r.text(reasonsText(l.Reasons), reasons)
	r.uint(uint64(l.Version))
	return nil
}

func scanLoad(scan scanner) (schemas.TraceLoad, error) {
	var l schemas.TraceLoad
	var start int64
	var seconds float64
	var reasons string
	z := &l.Zones
	err := scan((*string)(&l.FileID), &l.Part, &l.Athlete, &l.Squad, &l.Date, &start, &seconds, &l.Minutes, &l.Coverage,
		&l.MeanHR, &l.PeakHR, &l.TRIMP, &l.TRIMPMale, &l.TRIMPFemale, &l.Edwards, &z[0], &z[1], &z[2], &z[3], &z[4],
		&l.HRmax.BPM, (*string)(&l.HRmax.Source), &l.HRmax.SEE, &reasons, (*uint64)(&l.Version))
	if err != nil {
		return l, err
	}
	l.Start = fromMillis(start)
	l.Duration = time.Duration(math.Round(seconds * float64(time.Second)))
	if l.Reasons, err = fromJSON[schemas.Reason](reasons); err != nil {
		return l, fmt.Errorf("reasons of a load of file %s: %w", l.FileID.Short(), err)
	}
	return l, nil
}

var seriesColumns = cols(`file_id athlete squad local_date series value unit -seen_ms version`)

func putSeries(r *record, v *schemas.SeriesValue, seen time.Time) error {
	switch {
	case v.Series == "":
		return fmt.Errorf("%w: a value of a series without a name", ErrInvalid)
	case !isDate(v.Date):
		return fmt.Errorf("%w: the value of series %q on %s has the date %q, want 2006-01-02", ErrInvalid, v.Series, v.Date, v.Date)
	case !allFinite(v.Value):
		return fmt.Errorf("%w: the value of series %q on %s is not a number", ErrInvalid, v.Series, v.Date)
	}
	r.begin(seriesColumns)
	r.text(string(v.FileID), v.Athlete, v.Squad, v.Date, v.Series)
	r.float(v.Value)
	r.text(v.Unit)
	r.int(millis(seen))
	r.uint(uint64(v.Version))
	return nil
}

func scanSeries(scan scanner) (v schemas.SeriesValue, err error) {
	return v, scan((*string)(&v.FileID), &v.Athlete, &v.Squad, &v.Date, &v.Series, &v.Value, &v.Unit, (*uint64)(&v.Version))
}

func isDate(date string) bool {
	_, err := time.Parse(time.DateOnly, date)
	return err == nil
}

// checkContext tells whether loads and series belong to the file, each once.
func (r *FileResult) checkContext() error {
	parts := make(map[string]bool, len(r.Loads))
	for i := range r.Loads {
		l := &r.Loads[i]
		switch {
		case l.FileID != r.File.ID || l.Version != r.File.Version:
			return fmt.Errorf("%w: the load of part %q is of another file or version", ErrInvalid, l.Part)
		case parts[l.Part]:
			return fmt.Errorf("%w: the load of part %q is given twice", ErrInvalid, l.Part)
		}
		parts[l.Part] = true
	}
	type key struct{ athlete, squad, date, series string }
	days := make(map[key]bool, len(r.Series))
	for i := range r.Series {
		v := &r.Series[i]
		k := key{v.Athlete, v.Squad, v.Date, v.Series}
		switch {
		case v.FileID != r.File.ID || v.Version != r.File.Version:
			return fmt.Errorf("%w: a value of series %q is of another file or version", ErrInvalid, v.Series)
		case days[k]:
			return fmt.Errorf("%w: the value of series %q on %s is given twice", ErrInvalid, v.Series, v.Date)
		}
		days[k] = true
	}
	return nil
}

// loadsWhere asks for an athlete's loads with from ≤ start < to.
func loadsWhere(athlete string, from, to time.Time) conditions {
	var c conditions
	c.add("athlete = ?", athlete)
	c.within("start_ms", from, to)
	return c
}

// seriesWhere asks for an athlete's and the squad's values with from ≤ date < to.
func seriesWhere(athlete, squad, from, to string) conditions {
	var c conditions
	if squad == "" {
		c.add("athlete = ?", athlete)
	} else {
		c.add("(athlete = ? AND athlete != '' OR athlete = '' AND squad IN (?, ''))", athlete, squad)
	}
	if from != "" {
		c.add("local_date >= ?", from)
	}
	if to != "" {
		c.add("local_date < ?", to)
	}
	return c
}

// lastOfEach leaves of each file the result of the highest version, the last
// of equal ones.
func lastOfEach(rs []FileResult) []FileResult {
	at := make(map[schemas.FileID]int, len(rs))
	for i := range rs {
		if j, again := at[rs[i].File.ID]; !again || rs[i].File.Version >= rs[j].File.Version {
			at[rs[i].File.ID] = i
		}
	}
	if len(at) == len(rs) {
		return rs
	}
	kept := make([]FileResult, 0, len(at))
	for i := range rs {
		if at[rs[i].File.ID] == i {
			kept = append(kept, rs[i])
		}
	}
	return kept
}
