package judge

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"text/tabwriter"
)

// Row counts the results of one sort of session.
type Row struct {
	Name          string
	N             int
	Tests         int // sessions in which a test was run
	In5, In10     int // starts within 5 and 10 s of the true one
	Seen5         int // within 5 s of where the device shows it: later by its lag
	Good, Check   int
	Rejected      int // or no answer
	GoodIn5       int
	Ex, HRR       []float64 // absolute errors of good ones
	StrapEx       []float64
	StrapHRR      []float64
	WrongEx       int // good, HRex off by more than 3 bpm
	WrongHRR      int // good, HRR60 off by more than 5 bpm
	WrongStrapHRR int // the same against the faultless strap
	FalseGood     int
	NoRest        int
}

// Tally makes a row of the results that sort picks.
func Tally(name string, rs []Result, pick func(*Result) bool) Row {
	row := Row{Name: name}
	for i := range rs {
		if r := &rs[i]; pick(r) {
			row.count(r)
		}
	}
	for _, v := range [][]float64{row.Ex, row.HRR, row.StrapEx, row.StrapHRR} {
		slices.Sort(v)
	}
	return row
}

func (row *Row) count(r *Result) {
	add := func(n *int, when bool) {
		if when {
			*n++
		}
	}
	row.N++
	add(&row.Tests, r.HasTest)
	add(&row.In5, math.Abs(r.StartError) <= 5)
	add(&row.In10, math.Abs(r.StartError) <= 10)
	add(&row.Seen5, math.Abs(r.StartError-r.Lag) <= 5)
	add(&row.Good, r.Quality == "good")
	add(&row.Check, r.Quality == "check")
	add(&row.Rejected, r.Quality == "reject" || r.Quality == "none")
	add(&row.FalseGood, r.FalseGood)
	add(&row.NoRest, r.NoRest)
	add(&row.WrongEx, r.SilentHRex())
	add(&row.WrongHRR, r.SilentHRR())
	add(&row.WrongStrapHRR, r.good() && math.Abs(r.StrapHRR) > 5)
	if !r.good() {
		return
	}
	add(&row.GoodIn5, math.Abs(r.StartError) <= 5)
	keep := func(to *[]float64, v float64) {
		if !math.IsNaN(v) {
			*to = append(*to, math.Abs(v))
		}
	}
	keep(&row.Ex, r.Ex)
	keep(&row.HRR, r.HRR)
	keep(&row.StrapEx, r.StrapEx)
	keep(&row.StrapHRR, r.StrapHRR)
}

// Mean and Quantile of ascending absolute errors; NaN of none.
func Mean(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

// Quantile is the value with at least a share q of the errors at or below it.
func Quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	return v[max(int(math.Ceil(q*float64(len(v))))-1, 0)]
}

const legend = `
n         sessions of the row
≤5 s      share of tests whose start is given within 5 s of the true one; ≤10 s the same within 10 s
≤5 seen   the same against the start as the device shows it, later by its averaging and delay (lag)
good …    share of sessions by quality; one without an answer counts as reject
good ≤5 s share of good tests whose start is within 5 s of the true one
HRex      of good tests: mean absolute error in bpm, 95th percentile, worst, against the noiseless heart;
          strap is the mean against what a faultless strap of the same averaging and delay would have given
HRR       of HRR60, the same; strap with its 95th percentile
Ex>3      good, HRex off by more than 3 bpm;  HRR>5 good, HRR60 off by more than 5 bpm;  strap>5 the same against the strap
false     called good though no test was run, or not to its end
no rest   good with an HRR60 though nobody rested
`

// Table writes rows side by side, then the sessions that went most wrong.
func Table(w io.Writer, rs []Result) error {
	_, _ = fmt.Fprint(w, legend)
	sections := []struct {
		title string
		rows  []Row
	}{
		{"By group", by(rs, func(r *Result) string { return string(r.Group) })},
		{"By group and help", by(rs, func(r *Result) string { return string(r.Group) + ", " + string(r.Manner) })},
		{"Clean, by test", by(only(rs, Clean), func(r *Result) string { return r.Form })},
		{"Clean, by device", by(only(rs, Clean), device)},
		{"Traps", by(only(rs, Trap), func(r *Result) string { return r.Kind })},
		{"No test", by(only(rs, NoTest), func(r *Result) string { return r.Kind })},
		{"Artefacts, by severity", by(only(rs, Artefact), func(r *Result) string { return "severity " + strconv.Itoa(r.Severity) })},
		{"Artefacts", by(only(rs, Artefact), func(r *Result) string { return r.Kind })},
	}
	for _, s := range sections {
		if err := write(w, s.title, s.rows); err != nil {
			return err
		}
	}
	why(w, rs)
	worst(w, rs)
	return nil
}

// why counts the reasons given of clean tests that were not called good;
// numbers in them are left out.
func why(w io.Writer, rs []Result) {
	times := make(map[string]int)
	for _, r := range rs {
		if r.Group == Clean && r.Quality != "good" {
			for _, reason := range r.Why {
				times[r.Quality+": "+digits.ReplaceAllString(reason, "#")]++
			}
		}
	}
	reasons := slices.SortedFunc(maps.Keys(times), func(a, b string) int {
		return cmp.Or(cmp.Compare(times[b], times[a]), cmp.Compare(a, b))
	})
	_, _ = fmt.Fprintf(w, "\nReasons given of clean tests that are not good\n")
	for _, reason := range reasons[:min(len(reasons), 25)] {
		_, _ = fmt.Fprintf(w, "  %4d  %s\n", times[reason], reason)
	}
}

var digits = regexp.MustCompile(`[0-9]+([.:][0-9]+)*`)

func device(r *Result) string {
	name := "lag up to 5 s"
	if r.Lag > 5 {
		name = "lag over 5 s"
	}
	if r.Speed {
		name += ", speed"
	}
	if !r.EverySec {
		name += ", sparse samples"
	}
	return name
}

func only(rs []Result, g Group) []Result {
	return slices.DeleteFunc(slices.Clone(rs), func(r Result) bool { return r.Group != g })
}

// by makes a row of each value of key, in order of names.
func by(rs []Result, key func(*Result) string) []Row {
	var names []string
	for i := range rs {
		if k := key(&rs[i]); !slices.Contains(names, k) {
			names = append(names, k)
		}
	}
	slices.Sort(names)
	var rows []Row
	for _, n := range names {
		rows = append(rows, Tally(n, rs, func(r *Result) bool { return key(r) == n }))
	}
	return rows
}

func write(w io.Writer, title string, rows []Row) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	_, _ = fmt.Fprintf(w, "\n%s\n", title)
	_, _ = fmt.Fprintln(t, "n\t≤5 s\t≤10 s\t≤5 seen\tgood\tcheck\treject\tgood ≤5 s\tHRex\tp95\tworst\tstrap\tHRR\tp95\tworst\tstrap\tp95\tEx>3\tHRR>5\tstrap>5\tfalse\tno rest\t  ")
	for _, r := range rows {
		_, _ = fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t", r.N, share(r.In5, r.Tests), share(r.In10, r.Tests), share(r.Seen5, r.Tests),
			share(r.Good, r.N), share(r.Check, r.N), share(r.Rejected, r.N), share(r.GoodIn5, len(r.Ex)))
		_, _ = fmt.Fprintf(t, "%s\t%s\t%s\t%s\t", num(Mean(r.Ex)), num(Quantile(r.Ex, 0.95)), num(Quantile(r.Ex, 1)), num(Mean(r.StrapEx)))
		_, _ = fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t", num(Mean(r.HRR)), num(Quantile(r.HRR, 0.95)), num(Quantile(r.HRR, 1)),
			num(Mean(r.StrapHRR)), num(Quantile(r.StrapHRR, 0.95)))
		_, _ = fmt.Fprintf(t, "%d\t%d\t%d\t%d\t%d\t  %s\n", r.WrongEx, r.WrongHRR, r.WrongStrapHRR, r.FalseGood, r.NoRest, r.Name)
	}
	return t.Flush()
}

func share(n, of int) string {
	if of == 0 {
		return "-"
	}
	return fmt.Sprintf("%.1f%%", 100*float64(n)/float64(of))
}

func num(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.2f", v)
}

// worst names the sessions called good that are furthest from the truth.
func worst(w io.Writer, rs []Result) {
	list := func(title string, of func(*Result) float64) {
		var bad []Result
		for i := range rs {
			if v := of(&rs[i]); rs[i].Quality == "good" && v > 0 {
				bad = append(bad, rs[i])
			}
		}
		slices.SortFunc(bad, func(a, b Result) int {
			return cmp.Or(cmp.Compare(of(&b), of(&a)), cmp.Compare(a.Index, b.Index))
		})
		_, _ = fmt.Fprintf(w, "\n%s\n", title)
		for _, r := range bad[:min(len(bad), 15)] {
			_, _ = fmt.Fprintf(w, "  %5d  %s: %s, severity %d, %s, %s, %s; start %+.0f s (lag %.1f), HRex %+.1f, HRR %+.1f (strap %+.1f): %s\n", r.Index,
				r.Group, r.Kind, r.Severity, r.Form, r.Manner, r.Format, r.StartError, r.Lag, r.Ex, r.HRR, r.StrapHRR, r.Says)
		}
	}
	list("Good, HRex furthest from the truth", func(r *Result) float64 { return math.Abs(r.Ex) })
	list("Good, HRR60 furthest from the truth", func(r *Result) float64 { return math.Abs(r.HRR) })
	list("Good without a whole test", func(r *Result) float64 {
		if r.FalseGood {
			return 1
		}
		return 0
	})
}
