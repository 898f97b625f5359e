package history

import (
	"fmt"
	"math"
	"time"

	"canter.example/schemas"
)

// FileResult is a file with all that was found in it.
type FileResult struct {
	File  schemas.File
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
	what := fmt.Sprintf("the load of part %q", l.Part)
	if l.Athlete == "" {
		return nil, fmt.Errorf("%w: %s without an athlete", ErrInvalid, what)
	}
	if err := checkDate(what, l.Date); err != nil {
		return nil, err
	}
	z := &l.Zones
	if err := checkShares("minutes, coverage or zones of "+what, l.Minutes, l.Coverage, z[0], z[1], z[2], z[3], z[4]); err != nil {
		return nil, err
	}
	reasons, err := jsonText(l.Reasons)
	if err != nil {
		return nil, fmt.Errorf("reasons of %s: %w: %w", what, ErrInvalid, err)
	}
	return []any{string(l.FileID), l.Part, l.Athlete, l.Squad, l.Date, at(l.Start), millis(l.Start), l.Duration.Seconds(), l.Minutes, l.Coverage,
		l.MeanHR, l.PeakHR, l.TRIMP, l.TRIMPMale, l.TRIMPFemale, l.Edwards, z[0], z[1], z[2], z[3], z[4],
		l.HRmax.BPM, string(l.HRmax.Source), l.HRmax.SEE, reasonsText(l.Reasons), reasons, uint64(l.Version)}, nil
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

func seriesValues(v *schemas.SeriesValue, seen time.Time) ([]any, error) {
	what := fmt.Sprintf("the value of series %q on %s", v.Series, v.Date)
	if v.Series == "" {
		return nil, fmt.Errorf("%w: a value of a series without a name", ErrInvalid)
	}
	if err := checkDate(what, v.Date); err != nil {
		return nil, err
	}
	if err := checkShares(what, v.Value); err != nil {
		return nil, err
	}
	return []any{string(v.FileID), v.Athlete, v.Squad, v.Date, v.Series, v.Value, v.Unit, millis(seen), uint64(v.Version)}, nil
}

func scanSeries(scan scanner) (v schemas.SeriesValue, err error) {
	return v, scan((*string)(&v.FileID), &v.Athlete, &v.Squad, &v.Date, &v.Series, &v.Value, &v.Unit, (*uint64)(&v.Version))
}

func checkDate(what, date string) error {
	if _, err := time.Parse(time.DateOnly, date); err != nil {
		return fmt.Errorf("%w: %s has the date %q, want 2006-01-02", ErrInvalid, what, date)
	}
	return nil
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
