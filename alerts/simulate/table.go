package simulate

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"canter.example/alerts/assess"
	"canter.example/alerts/review"
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

// Quiet is what an unchanged squad gives rise to.
type Quiet struct {
	// Per40 are individual alerts told in 40 tests of one athlete, PlainPer40
	// those that plain z-scores would send; Season those of a season of 36
	// tests that are judged. Sessions is the share of sessions told as moved.
	Per40, PlainPer40, Season, Sessions float64
}

// Unchanged plays squads to which nothing happens.
func Unchanged(o Options, n Noise, v Variant) Quiet {
	o = o.filled()
	rng := rand.New(rand.NewPCG(o.Seed, 1)) //nolint:gosec // a simulation
	var tests, alerts, plain, sessions, moved float64
	for range o.Squads {
		s := Play(Invent(rng, o.Athletes, weeks, n, Change{Week: weeks}), *o.Thresholds, v.Change)
		for i := range s.Sessions {
			if i < o.Thresholds.MinBaseline {
				continue
			}
			sessions++
			if s.Sessions[i].Squad != nil {
				moved++
			}
			for j := range s.Sessions[i].Tests {
				t := &s.Sessions[i].Tests[j]
				tests++
				alerts += float64(len(told(t)))
				plain += one(plainZ(&t.Assessment))
			}
		}
	}
	return Quiet{
		Per40: 40 * alerts / tests, PlainPer40: 40 * plain / tests,
		Season: alerts / tests * float64(weeks-o.Thresholds.MinBaseline), Sessions: moved / sessions,
	}
}

// Power is how soon a lasting change is told.
type Power struct {
	// First and Second are the shares told at the first test and within two,
	// Within8 and Within12 within so many; Delay the median number of tests
	// until it is told (1: at once), 0 when fewer than half are.
	First, Second, Within8, Within12 float64
	Delay                            int
}

// Changed plays squads in which eight athletes change from one week on.
func Changed(o Options, n Noise, c Change, v Variant) Power {
	o = o.filled()
	c.Week, c.Changed = changeWeek, max(c.Changed, 8)
	rng := rand.New(rand.NewPCG(o.Seed, 2)) //nolint:gosec // a simulation
	var delays []int
	for range o.Squads {
		s := Play(Invent(rng, o.Athletes, changeWeek+13, n, c), *o.Thresholds, v.Change)
		for athlete := range c.Changed {
			delays = append(delays, delay(&s, fmt.Sprintf("a%02d", athlete)))
		}
	}
	share := func(within int) float64 {
		n := 0
		for _, d := range delays {
			if d > 0 && d <= within {
				n++
			}
		}
		return float64(n) / float64(len(delays))
	}
	p := Power{First: share(1), Second: share(2), Within8: share(8), Within12: share(12)}
	for d := 1; d <= 13 && p.Delay == 0; d++ {
		if share(d) >= 0.5 {
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
	Session, Alerts, Plain float64
}

// HotDay plays squads with one day on which everybody's HRex is higher.
func HotDay(o Options, n Noise, points float64, v Variant) Heat {
	o = o.filled()
	rng := rand.New(rand.NewPCG(o.Seed, 3)) //nolint:gosec // a simulation
	var h Heat
	for range o.Squads {
		s := Play(Invent(rng, o.Athletes, changeWeek+1, n, Change{Week: changeWeek, Hot: points}), *o.Thresholds, v.Change)
		day := &s.Sessions[changeWeek]
		h.Session += one(day.Squad != nil) / float64(o.Squads)
		for j := range day.Tests {
			h.Alerts += float64(len(told(&day.Tests[j]))) / float64(o.Squads)
			h.Plain += one(plainZ(&day.Tests[j].Assessment)) / float64(o.Squads)
		}
	}
	return h
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
