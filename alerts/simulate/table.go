package simulate

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/stat"

	"canter.example/alerts/assess"
	"canter.example/alerts/review"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Options of a simulation. The zero value is the published table's.
type Options struct {
	// Squads of so many Athletes for each line; 0 is 40 of 22.
	Squads, Athletes int
	Seed             uint64
	Thresholds       *club.Thresholds
}

func (o Options) filled() Options {
	if o.Squads == 0 {
		o.Squads = 40
	}
	if o.Athletes == 0 {
		o.Athletes = 22
	}
	if o.Thresholds == nil {
		t := club.DefaultThresholds()
		o.Thresholds = &t
	}
	return o
}

const (
	weeks      = 40
	changeWeek = 20
)

// Variant is a way to judge.
type Variant struct {
	Name   string
	Change func(*assess.Settings)
}

// Variants are the real way, and without its parts.
func Variants() []Variant {
	return []Variant{
		{"as shipped", func(*assess.Settings) {}},
		{"without squad effect", func(s *assess.Settings) { s.NoSquad = true }},
		{"without shrinkage to the squad", func(s *assess.Settings) { s.NoPool = true }},
		{"without either", func(s *assess.Settings) { s.NoSquad, s.NoPool = true, true }},
	}
}

// Estimate is a mean over squads with its Monte-Carlo error: the standard error
// of the mean of the squads' own figures.
type Estimate struct{ Mean, SE float64 }

func estimate(perSquad []float64) Estimate {
	mean, sd := stat.MeanStdDev(perSquad, nil)
	return Estimate{mean, sd / math.Sqrt(float64(len(perSquad)))}
}

// each plays every squad with random numbers of its own, some at a time: the
// same options give the same figures on any machine.
func each[T any](o Options, kind uint64, play func(rng *rand.Rand) T) []T {
	out := make([]T, o.Squads)
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range out {
		g.Go(func() error {
			out[i] = play(rand.New(rand.NewPCG(o.Seed, kind<<32|uint64(i)))) //nolint:gosec // a simulation
			return nil
		})
	}
	_ = g.Wait()
	return out
}

// of gathers one figure of each squad.
func of[T any](squads []T, figure func(T) float64) Estimate {
	xs := make([]float64, len(squads))
	for i := range squads {
		xs[i] = figure(squads[i])
	}
	return estimate(xs)
}

// Quiet is what an unchanged squad gives rise to.
type Quiet struct {
	// Per40 are individual alerts told in 40 tests of one athlete, PlainPer40
	// those that plain z-scores would send. Sessions is the share of sessions
	// told as moved. Rules has Per40 by rule.
	Per40, PlainPer40, Sessions Estimate
	Rules                       map[schemas.RuleID]float64
}

// Unchanged plays squads to which nothing happens.
func Unchanged(o Options, n Noise, v Variant) Quiet {
	o = o.filled()
	type counts struct {
		tests, alerts, plain, sessions, moved float64
		rules                                 map[schemas.RuleID]float64
	}
	squads := each(o, 1, func(rng *rand.Rand) counts {
		s := Play(Invent(rng, o.Athletes, weeks, n, Change{Week: weeks}), *o.Thresholds, v.Change)
		c := counts{rules: map[schemas.RuleID]float64{}}
		for i := o.Thresholds.MinBaseline; i < len(s.Sessions); i++ {
			c.sessions++
			c.moved += one(s.Sessions[i].Squad != nil)
			for j := range s.Sessions[i].Tests {
				t := &s.Sessions[i].Tests[j]
				c.tests++
				c.plain += one(plainZ(&t.Assessment))
				for _, a := range told(t) {
					c.alerts++
					c.rules[a.Rule]++
				}
			}
		}
		return c
	})
	q := Quiet{
		Per40:      of(squads, func(c counts) float64 { return 40 * c.alerts / c.tests }),
		PlainPer40: of(squads, func(c counts) float64 { return 40 * c.plain / c.tests }),
		Sessions:   of(squads, func(c counts) float64 { return c.moved / c.sessions }),
		Rules:      map[schemas.RuleID]float64{},
	}
	for _, c := range squads {
		for rule, n := range c.rules {
			q.Rules[rule] += 40 * n / c.tests / float64(len(squads))
		}
	}
	return q
}

// Power is how soon a lasting change is told.
type Power struct {
	// First and Second are the shares told at the first test and within two,
	// Within8 and Within12 within so many; Delay the median number of tests
	// until it is told (1: at once), 0 when fewer than half are.
	First, Second, Within8, Within12 Estimate
	Delay                            int
}

// Changed plays squads of which some athletes change from one week on: a third
// of the squad but at most eight, where c does not say. More than half would
// be the squad's change.
func Changed(o Options, n Noise, c Change, v Variant) Power {
	o = o.filled()
	c.Week = changeWeek
	if c.Changed == 0 {
		c.Changed = max(1, min(8, o.Athletes/3))
	}
	squads := each(o, 2, func(rng *rand.Rand) []int {
		s := Play(Invent(rng, o.Athletes, changeWeek+13, n, c), *o.Thresholds, v.Change)
		delays := make([]int, c.Changed)
		for athlete := range delays {
			delays[athlete] = delay(&s, name(athlete))
		}
		return delays
	})
	share := func(within int) Estimate {
		return of(squads, func(delays []int) float64 {
			n := 0.0
			for _, d := range delays {
				n += one(d > 0 && d <= within)
			}
			return n / float64(len(delays))
		})
	}
	p := Power{First: share(1), Second: share(2), Within8: share(8), Within12: share(12)}
	for d := 1; d <= 13 && p.Delay == 0; d++ {
		if share(d).Mean >= 0.5 {
			p.Delay = d
		}
	}
	return p
}

// delay counts tests from the change to the first that staff are told of HRex.
func delay(s *Season, athlete string) int {
	for i := changeWeek; i < len(s.Sessions); i++ {
		for j := range s.Sessions[i].Tests {
			t := &s.Sessions[i].Tests[j]
			if t.Outcome.Athlete != athlete {
				continue
			}
			for _, a := range told(t) {
				if slices.Contains(a.Facts, review.HRexUp) {
					return i - changeWeek + 1
				}
			}
		}
	}
	return 0
}

// Heat is what a hot day for all gives rise to.
type Heat struct {
	// Session is the share of hot days told as one thing; Alerts and Plain are
	// individual alerts a hot day, as told and by plain z-scores.
	Session, Alerts, Plain Estimate
}

// HotDay plays squads with one day on which everybody's HRex is higher.
func HotDay(o Options, n Noise, points float64, v Variant) Heat {
	o = o.filled()
	type counts struct{ session, alerts, plain float64 }
	squads := each(o, 3, func(rng *rand.Rand) (c counts) {
		s := Play(Invent(rng, o.Athletes, changeWeek+1, n, Change{Week: changeWeek, Hot: points}), *o.Thresholds, v.Change)
		day := &s.Sessions[changeWeek]
		c.session = one(day.Squad != nil)
		for j := range day.Tests {
			c.alerts += float64(len(told(&day.Tests[j])))
			c.plain += one(plainZ(&day.Tests[j].Assessment))
		}
		return c
	})
	return Heat{
		Session: of(squads, func(c counts) float64 { return c.session }),
		Alerts:  of(squads, func(c counts) float64 { return c.alerts }),
		Plain:   of(squads, func(c counts) float64 { return c.plain }),
	}
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
