package history

import (
	"fmt"
	"strings"

	"canter.example/schemas"
)

// Columns of an assessment itself, and of each of its comparisons.
var (
	assessmentColumns = cols(`test_id athlete squad protocol session ~start start_ms -rules fired version`)
	comparisonColumns = cols(`measure seconds unit value state previous prev_change prev_pct ~previous_time previous_time_ms
		baseline_n baseline_min_n ~baseline_from baseline_from_ms ~baseline_to baseline_to_ms
		baseline_mean baseline_sd sd_used sd_method change change_pct z
		pred_low pred_high te swc mdc prob_change
		basis squad_state squad_shift squad_se squad_n squad_material deviation deviation_z
		drift_n drift_ewma drift_ewma_limit cusum_high cusum_low cusum_limit drift_side ~drift_since drift_since_ms`)
)

func assessmentValues(a *schemas.Assessment, at clock) ([]any, error) {
	r := forSQLite(assessmentColumns, at)
	err := putAssessment(r, a)
	return r.values, err
}

func putAssessment(r *record, a *schemas.Assessment) error {
	if a.TestID == "" {
		return fmt.Errorf("%w: an assessment without a test", ErrInvalid)
	}
	if err := checkVersion(a.Version); err != nil {
		return err
	}
	fired, err := jsonText(a.Fired)
	if err != nil {
		return fmt.Errorf("rules of test %s: %w: %w", a.TestID, ErrInvalid, err)
	}
	rules := make([]string, len(a.Fired))
	for i, f := range a.Fired {
		rules[i] = string(f.Rule)
	}
	r.begin(assessmentColumns)
	r.text(string(a.TestID), a.Athlete, a.Squad, a.Protocol, a.Session)
	r.time(a.Start)
	r.text(strings.Join(rules, ","), fired)
	r.uint(uint64(a.Version))
	return nil
}

// scanAssessment reads an assessment without its comparisons; more are
// destinations of columns behind its own.
func scanAssessment(scan scanner, more ...any) (schemas.Assessment, error) {
	var a schemas.Assessment
	var start int64
	var fired string
	dest := []any{(*string)(&a.TestID), &a.Athlete, &a.Squad, &a.Protocol, &a.Session, &start, &fired, (*uint64)(&a.Version)}
	if err := scan(append(dest, more...)...); err != nil {
		return a, err
	}
	a.Start = fromMillis(start)
	var err error
	if a.Fired, err = fromJSON[schemas.FiredRule](fired); err != nil {
		return a, fmt.Errorf("rules of test %s: %w", a.TestID, err)
	}
	return a, nil
}

func comparisonValues(c *schemas.Comparison, at clock) []any {
	r := forSQLite(comparisonColumns, at)
	putComparison(r, c)
	return r.values
}

func putComparison(r *record, c *schemas.Comparison) {
	material := int64(0)
	if c.Squad.Material {
		material = 1
	}
	r.text(string(c.Measure))
	r.int(int64(c.Seconds))
	r.text(c.Unit)
	r.number(c.Value)
	r.text(string(c.State))
	r.number(c.Previous, c.PrevChange, c.PrevPct)
	r.optionalTime(c.PreviousTime)
	r.int(int64(c.N), int64(c.MinN))
	r.optionalTime(c.From)
	r.optionalTime(c.To)
	r.number(c.Mean, c.SD, c.SDUsed)
	r.text(c.SDMethod)
	r.number(c.Change, c.Pct, c.Z, c.PredLow, c.PredHigh, c.TE, c.SWC, c.MDC, c.ProbChange)
	r.text(string(c.Basis), c.Squad.State)
	r.number(c.Squad.Size, c.Squad.SE)
	r.int(int64(c.Squad.N), material)
	r.number(c.Deviation, c.DeviationZ)
	r.int(int64(c.Drift.N))
	r.number(c.Drift.EWMA, c.Drift.EWMALimit, c.Drift.High, c.Drift.Low, c.Drift.Limit)
	r.text(string(c.Drift.Side))
	r.optionalTime(c.Drift.Since)
}

func scanComparison(scan scanner) (schemas.Comparison, error) {
	var c schemas.Comparison
	var seconds, n, minN int64
	var squadN, material, driftN int64
	var previous, from, to, since *int64
	err := scan((*string)(&c.Measure), &seconds, &c.Unit, &c.Value, (*string)(&c.State),
		&c.Previous, &c.PrevChange, &c.PrevPct, &previous, &n, &minN, &from, &to,
		&c.Mean, &c.SD, &c.SDUsed, &c.SDMethod, &c.Change, &c.Pct, &c.Z,
		&c.PredLow, &c.PredHigh, &c.TE, &c.SWC, &c.MDC, &c.ProbChange,
		(*string)(&c.Basis), &c.Squad.State, &c.Squad.Size, &c.Squad.SE, &squadN, &material, &c.Deviation, &c.DeviationZ,
		&driftN, &c.Drift.EWMA, &c.Drift.EWMALimit, &c.Drift.High, &c.Drift.Low, &c.Drift.Limit, (*string)(&c.Drift.Side), &since)
	c.Squad.N, c.Squad.Material, c.Drift.N, c.Drift.Since = int(squadN), material != 0, int(driftN), fromOptional(since)
	c.Seconds, c.N, c.MinN = int(seconds), int(n), int(minN)
	c.PreviousTime, c.From, c.To = fromOptional(previous), fromOptional(from), fromOptional(to)
	return c, err
}

// ClickHouse keeps the comparisons of an assessment as arrays of equal length,
// one for each of comparisonColumns.plain.

// putComparisons puts the comparisons of an assessment behind its own columns.
// An absent number is NaN, an absent time the milliseconds of the zero time.
func putComparisons(r *record, cs []schemas.Comparison) {
	from := r.next
	for i := range cs {
		r.next = from
		putComparison(r, &cs[i])
	}
	r.block.endArrays(from, len(comparisonColumns.plain))
	r.next = from + len(comparisonColumns.plain)
}

// newArrays returns an empty array for each of them.
func newArrays() []any {
	var of block
	putComparison(&record{block: &of}, &schemas.Comparison{})
	arrays := make([]any, len(of.columns))
	for j := range of.columns {
		switch c := &of.columns[j]; {
		case c.texts != nil:
			arrays[j] = &[]string{}
		case c.floats != nil:
			arrays[j] = &[]float64{}
		default:
			arrays[j] = &[]int64{}
		}
	}
	return arrays
}

// scanAssessmentArrays reads an assessment with its comparisons from arrays.
func scanAssessmentArrays(scan scanner) (schemas.Assessment, error) {
	arrays := newArrays()
	a, err := scanAssessment(scan, arrays...)
	if err != nil {
		return a, err
	}
	for i := range *arrays[0].(*[]string) {
		c, err := scanComparison(func(dest ...any) error {
			for j, d := range dest {
				if err := fromArray(d, arrays[j], i); err != nil {
					return fmt.Errorf("%s of test %s: %w", comparisonColumns.plain[j], a.TestID, err)
				}
			}
			return nil
		})
		if err != nil {
			return a, err
		}
		a.Comparisons = append(a.Comparisons, c)
	}
	return a, nil
}

// fromArray copies element i of an array into a destination of its kind.
func fromArray(dest, array any, i int) error {
	switch d := dest.(type) {
	case *string:
		*d = (*array.(*[]string))[i]
	case *int64:
		*d = (*array.(*[]int64))[i]
	case **int64:
		*d = &(*array.(*[]int64))[i]
	case *schemas.Number:
		*d = schemas.Num((*array.(*[]float64))[i])
	default:
		return fmt.Errorf("no way to read into a %T", dest)
	}
	return nil
}
