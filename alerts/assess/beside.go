package assess

import (
	"cmp"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"

	"canter.example/schemas"
)

// Days of what stands beside a test.
const (
	// LoadDays and LoadWeek are the days before a test whose load is shown:
	// three, to whose TRIMP Scott et al. 2022 (J Sports Sci 40(8); FACTS 2.9) tie
	// HRex, and a week.
	LoadDays = 3
	LoadWeek = 7
	// LoadWeeks before that week are what a usual week is taken from.
	LoadWeeks = 4
	// SeriesDays before a value are its usual, of which SeriesLeast must have
	// one. Ours.
	SeriesDays  = 42
	SeriesLeast = 10
	// standsOut is the |z| at which a daily value stands out: the largest of the
	// trade's cut-offs (FACTS 7).
	standsOut = 2
)

// Beside is what stands beside a test: context, never a verdict.
type Beside struct {
	// Loads of the 3 and the 7 days before the test.
	Loads []schemas.LoadSum
	// UsualTRIMP is the mean TRIMP of the four weeks before those 7 days, absent
	// when one of them has none.
	UsualTRIMP schemas.Number
	// Standing are daily values of the test's day and the day before that stand
	// out, by date and series.
	Standing []Standing
}

// Standing is a daily value beside the usual of the same series: the athlete's
// own, or the squad's when it is a value of all.
type Standing struct {
	schemas.SeriesValue
	// Mean and SD of N earlier values, and z of this one.
	Mean, SD, Z float64
	N           int
}

// LoadsFrom and SeriesFrom return the first local date of what [NewBeside]
// looks at for a test on a local date ("2006-01-02"); date itself when it is none.
func LoadsFrom(date string) string { return daysBefore(date, LoadWeek*(1+LoadWeeks)) }

// SeriesFrom is explained with [LoadsFrom].
func SeriesFrom(date string) string { return daysBefore(date, SeriesDays+1) }

// NewBeside gathers what stands beside a test of an athlete on a local date.
// Loads are the athlete's, values the athlete's and those of the squad and
// club; in any order, and more than needed does no harm.
func NewBeside(date string, loads []schemas.TraceLoad, values []schemas.SeriesValue) Beside {
	b := Beside{
		Loads:    []schemas.LoadSum{schemas.LoadBefore(loads, date, LoadDays), schemas.LoadBefore(loads, date, LoadWeek)},
		Standing: standing(date, values),
	}
	total, whole := 0.0, true
	for week := 1; week <= LoadWeeks; week++ {
		trimp, ok := schemas.LoadBefore(loads, daysBefore(date, LoadWeek*week), LoadWeek).TRIMP.Get()
		total, whole = total+trimp, whole && ok
	}
	if whole {
		b.UsualTRIMP = schemas.Num(total / LoadWeeks)
	}
	return b
}

// standing finds the values of a date and the day before that stand out from
// those of the days before them: |value - mean| of at least 2 SD. A series
// that never moved has no spread to stand out from.
func standing(date string, values []schemas.SeriesValue) []Standing {
	var out []Standing
	eve := daysBefore(date, 1)
	for i := range values {
		v := &values[i]
		if v.Date != date && v.Date != eve {
			continue
		}
		usual := before(v, values)
		if len(usual) < SeriesLeast {
			continue
		}
		mean, sd := stat.MeanStdDev(usual, nil)
		// Equal values have an SD of rounding errors.
		if sd <= 1e-9*math.Abs(mean) || math.Abs(v.Value-mean) < standsOut*sd {
			continue
		}
		out = append(out, Standing{SeriesValue: *v, Mean: mean, SD: sd, Z: (v.Value - mean) / sd, N: len(usual)})
	}
	slices.SortFunc(out, func(a, b Standing) int {
		return cmp.Or(cmp.Compare(a.Date, b.Date), cmp.Compare(a.Series, b.Series), cmp.Compare(b.Athlete, a.Athlete))
	})
	return out
}

// ConditionsLeast is how many earlier days must have a value before their mean
// is shown as the usual. Ours: a mean says where the day stands, not whether it
// stands out.
const ConditionsLeast = 3

// Condition is a value that a whole squad shared on a day, such as the
// temperature, with the mean of the N days of the six weeks before that have
// one; Usual is absent when they are fewer than [ConditionsLeast].
type Condition struct {
	schemas.SeriesValue
	Usual schemas.Number
	N     int
}

// Conditions returns what is recorded of a local date for a whole squad or club,
// by series; a squad's own value goes before the club's. Values are as for
// [NewBeside]; those of athletes do no harm.
func Conditions(date string, values []schemas.SeriesValue) []Condition {
	var out []Condition
	for i := range values {
		v := &values[i]
		if v.Date != date || v.Athlete != "" {
			continue
		}
		at := slices.IndexFunc(out, func(c Condition) bool { return c.Series == v.Series })
		if at >= 0 && out[at].Squad != "" {
			continue
		}
		usual := before(v, values)
		c := Condition{SeriesValue: *v, N: len(usual)}
		if c.N >= ConditionsLeast {
			c.Usual = schemas.Num(stat.Mean(usual, nil))
		}
		if at >= 0 {
			out[at] = c
		} else {
			out = append(out, c)
		}
	}
	slices.SortFunc(out, func(a, b Condition) int { return cmp.Compare(a.Series, b.Series) })
	return out
}

// before returns the values of the same series, of the same athlete or squad, on
// the [SeriesDays] before a value's day.
func before(v *schemas.SeriesValue, values []schemas.SeriesValue) []float64 {
	from := daysBefore(v.Date, SeriesDays)
	var out []float64
	for i := range values {
		u := &values[i]
		if u.Series == v.Series && u.Athlete == v.Athlete && u.Squad == v.Squad && u.Unit == v.Unit && u.Date >= from && u.Date < v.Date {
			out = append(out, u.Value)
		}
	}
	return out
}

func daysBefore(date string, days int) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return t.AddDate(0, 0, -days).Format(time.DateOnly)
}
