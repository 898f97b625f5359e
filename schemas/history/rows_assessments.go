package history

import (
	"fmt"
	"math"
	"strings"
	"time"

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
	if a.TestID == "" {
		return nil, fmt.Errorf("%w: an assessment without a test", ErrInvalid)
	}
	if err := checkVersion(a.Version); err != nil {
		return nil, err
	}
	fired, err := jsonText(a.Fired)
	if err != nil {
		return nil, fmt.Errorf("rules of test %s: %w: %w", a.TestID, ErrInvalid, err)
	}
	rules := make([]string, len(a.Fired))
	for i, f := range a.Fired {
		rules[i] = string(f.Rule)
	}
	return []any{string(a.TestID), a.Athlete, a.Squad, a.Protocol, a.Session, at(a.Start), millis(a.Start),
		strings.Join(rules, ","), fired, uint64(a.Version)}, nil
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
	previous, previousMS := optional(c.PreviousTime, at)
	from, fromMS := optional(c.From, at)
	to, toMS := optional(c.To, at)
	since, sinceMS := optional(c.Drift.Since, at)
	material := int64(0)
	if c.Squad.Material {
		material = 1
	}
	return []any{string(c.Measure), int64(c.Seconds), c.Unit, c.Value, string(c.State),
		c.Previous, c.PrevChange, c.PrevPct, previous, previousMS,
		int64(c.N), int64(c.MinN), from, fromMS, to, toMS,
		c.Mean, c.SD, c.SDUsed, c.SDMethod, c.Change, c.Pct, c.Z,
		c.PredLow, c.PredHigh, c.TE, c.SWC, c.MDC, c.ProbChange,
		string(c.Basis), c.Squad.State, c.Squad.Size, c.Squad.SE, int64(c.Squad.N), material, c.Deviation, c.DeviationZ,
		int64(c.Drift.N), c.Drift.EWMA, c.Drift.EWMALimit, c.Drift.High, c.Drift.Low, c.Drift.Limit, string(c.Drift.Side), since, sinceMS}
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

// newArrays returns an empty array for each of them.
func newArrays() []any {
	arrays := make([]any, len(comparisonColumns.plain))
	for j, v := range comparisonColumns.withoutTimes(comparisonValues(&schemas.Comparison{}, noClock)) {
		switch v.(type) {
		case string:
			arrays[j] = &[]string{}
		case schemas.Number:
			arrays[j] = &[]float64{}
		default: // an integer, or a time that may be absent
			arrays[j] = &[]int64{}
		}
	}
	return arrays
}

// comparisonArrays turns comparisons into arrays. An absent number is NaN, an
// absent time the milliseconds of the zero time.
func comparisonArrays(cs []schemas.Comparison) []any {
	arrays := newArrays()
	for i := range cs {
		for j, v := range comparisonColumns.withoutTimes(comparisonValues(&cs[i], noClock)) {
			switch array := arrays[j].(type) {
			case *[]string:
				*array = append(*array, v.(string))
			case *[]float64:
				*array = append(*array, v.(schemas.Number).Or(math.NaN()))
			case *[]int64:
				n, ok := v.(int64)
				if !ok {
					n = millis(time.Time{})
				}
				*array = append(*array, n)
			}
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
