package simulate

import (
	"fmt"
	"math"

	"canter.example/schemas/club"
)

// noises are the published typical errors (FACTS 2.1, 2.2).
var noises = []Noise{{1.2, 3.4}, {1.6, 3.4}}

// changes are what the table puts into squads.
var changes = []struct {
	name   string
	change Change
}{
	{"step of 2 points", Change{Step: 2}},
	{"step of 3 points", Change{Step: 3}},
	{"step of 4 points", Change{Step: 4}},
	{"step of 5 points", Change{Step: 5}},
	{"drift of 0.5 point a week", Change{Drift: 0.5}},
}

// Row is a line of one of the tables.
type Row struct {
	Noise Noise
	// Table is what the table is about, Name what the row is.
	Table, Name string
	Figures     []Figure
}

// Figure is one number of a row.
type Figure struct {
	// Heading is the column's, Key its name for programs.
	Heading, Key string
	// Value is a rate, a share (0 to 1) or a number of tests by Form; NaN when
	// it is not known. SE is its standard error when Form has one, NaN when that
	// is not known, as from one squad.
	Value, SE float64
	Form      Form
}

// Form is how a figure is written.
type Form uint8

// Forms.
const (
	// Rate and Share have a standard error.
	Rate Form = iota
	Share
	BareRate
	BareShare
	// Delay is a whole number of tests; NaN when it is longer than was looked.
	Delay
)

// HasSE reports whether a figure of this form has a standard error.
func (f Form) HasSE() bool { return f == Rate || f == Share }

func rate(heading, key string, e Estimate) Figure  { return Figure{heading, key, e.Mean, e.SE, Rate} }
func share(heading, key string, e Estimate) Figure { return Figure{heading, key, e.Mean, e.SE, Share} }
func bare(heading, key string, v float64, f Form) Figure {
	return Figure{heading, key, v, math.NaN(), f}
}

// Each plays everything, row by row in the order of the tables. It ends early
// with the error of emit.
func Each(o Options, emit func(Row) error) error {
	for _, n := range noises {
		for _, part := range []func(func(Row) error, Options, Noise) error{quietRows, powerRows, heatRows, sizeRows, seedRows} {
			if err := part(emit, o, n); err != nil {
				return err
			}
		}
	}
	return nil
}

func quietRows(emit func(Row) error, o Options, n Noise) error {
	var rules []Row
	for i, v := range Variants() {
		q := Unchanged(o, n, v)
		for _, id := range club.Settable {
			if r := q.Rules[id]; i == 0 && r > 0 {
				rules = append(rules, Row{n, "false alerts by rule, as shipped", string(id), []Figure{bare("in 40 tests", "false_alerts_40", r, BareRate)}})
			}
		}
		err := emit(Row{n, "nothing happens", v.Name, []Figure{
			rate("false alerts in 40 tests", "false_alerts_40", q.Per40), rate("plain z over 2, in 40 tests", "plain_z_40", q.PlainPer40),
			bare("sessions told as moved", "sessions_moved", q.Sessions.Mean, BareShare),
		}})
		if err != nil {
			return err
		}
	}
	for _, r := range rules {
		if err := emit(r); err != nil {
			return err
		}
	}
	return nil
}

func powerRows(emit func(Row) error, o Options, n Noise) error {
	for _, c := range changes {
		for _, v := range Variants() {
			p := Changed(o, n, c.change, v)
			delay := float64(p.Delay)
			if p.Delay == 0 {
				delay = math.NaN()
			}
			err := emit(Row{n, "a third of the squad, at most eight, changes", c.name + ", " + v.Name, []Figure{
				share("told at the first test", "told_within_1", p.First), share("within 2", "told_within_2", p.Second),
				share("within 8", "told_within_8", p.Within8), share("within 12", "told_within_12", p.Within12),
				bare("median delay, tests", "median_delay_tests", delay, Delay),
			}})
			if err != nil {
				return err
			}
		}
	}
	return nil
}

func heatRows(emit func(Row) error, o Options, n Noise) error {
	for _, v := range Variants() {
		h := HotDay(o, n, 4, v)
		err := emit(Row{n, "hot day, +4 points for all", v.Name, []Figure{
			share("told as one session", "told_as_session", h.Session), rate("individual alerts", "alerts_a_day", h.Alerts), rate("plain z over 2", "plain_z_a_day", h.Plain),
			bare("share", "alerts_of_plain_z", h.Alerts.Mean/h.Plain.Mean, BareShare),
		}})
		if err != nil {
			return err
		}
	}
	return nil
}

// sizes of squads that the table plays; below 5 there is neither a squad
// effect nor a squad's spread.
var sizes = []int{4, 8, 14, 30}

func sizeRows(emit func(Row) error, o Options, n Noise) error {
	return targets(emit, "squad of", sizes, func(size int) (Options, string) {
		o.Athletes = size
		return o, fmt.Sprintf("%d athletes", size)
	}, n)
}

// seeds that the table plays beside its own.
var seeds = []int{1, 2, 3}

func seedRows(emit func(Row) error, o Options, n Noise) error {
	first := o.Seed
	return targets(emit, "other random numbers", seeds, func(seed int) (Options, string) {
		o.Seed = first + uint64(seed) //nolint:gosec // a small number
		return o, fmt.Sprintf("seed %d", o.Seed)
	}, n)
}

// targets has the three figures that the defaults are held to.
func targets(emit func(Row) error, what string, of []int, with func(int) (Options, string), n Noise) error {
	v := Variants()[0]
	for _, x := range of {
		o, name := with(x)
		q, p, h := Unchanged(o, n, v), Changed(o, n, Change{Step: 4}, v), HotDay(o, n, 4, v)
		err := emit(Row{n, what, name, []Figure{
			rate("false alerts in 40 tests", "false_alerts_40", q.Per40), share("step of 4 points within 2", "told_within_2", p.Second),
			share("hot day told as one session", "told_as_session", h.Session), bare("its individual alerts, of plain z's", "alerts_of_plain_z", h.Alerts.Mean/h.Plain.Mean, BareShare),
		}})
		if err != nil {
			return err
		}
	}
	return nil
}
