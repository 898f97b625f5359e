package club

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// Key names a slot for good: the planned test and its local date and time. It
// is the key of a table of slots that were dealt with.
func (s Slot) Key() string { return s.Planned.ID + "/" + s.Time.Format("2006-01-02T15:04") }

// schedule is a cron expression of five fields. The library parses it; which
// instants it means is decided here, because the library skips a planned time
// that the clocks jump over in spring and repeats one that occurs twice in
// autumn, and a test happens once on its day whatever the clocks do.
type schedule struct{ spec *cron.SpecSchedule }

var cronParser = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow)

func parseCron(expression string) (schedule, error) {
	const what = "a cron expression"
	const how = "write five fields, minute hour day month weekday, such as 30 10 * * MON for Monday at 10:30"
	// The library would take a zone here, which is the club's to give, and
	// panics on one that nothing follows.
	if strings.Contains(expression, "=") || len(strings.Fields(expression)) != 5 {
		return schedule{}, notA(expression, what, how)
	}
	s, err := cronParser.Parse(expression)
	if err != nil {
		return schedule{}, notA(expression, what, err.Error()+"; "+how)
	}
	spec, ok := s.(*cron.SpecSchedule)
	if !ok {
		return schedule{}, notA(expression, what, how)
	}
	return schedule{spec}, nil
}

const starBit = 1 << 63 // the library's mark for a field written as *

func has(field uint64, v int) bool { return field&(1<<uint(v)) != 0 }

// matches reports whether the expression names this date. As in every cron, a
// day of the month and a weekday that are both given are alternatives.
func (s schedule) matches(date time.Time) bool {
	if !has(s.spec.Month, int(date.Month())) {
		return false
	}
	dom, dow := has(s.spec.Dom, date.Day()), has(s.spec.Dow, int(date.Weekday()))
	if s.spec.Dom&starBit != 0 || s.spec.Dow&starBit != 0 {
		return dom && dow
	}
	return dom || dow
}

// perDay returns how many times of day the expression names.
func (s schedule) perDay() int {
	return bits.OnesCount64(s.spec.Minute&^starBit) * bits.OnesCount64(s.spec.Hour&^starBit)
}

// everFires looks through eight years, which hold every date of the calendar.
func (s schedule) everFires() bool {
	for day := range 8*365 + 2 {
		if s.matches(time.Date(2024, 1, 1+day, 0, 0, 0, 0, time.UTC)) {
			return true
		}
	}
	return false
}

// on returns the instants of the expression on one local date, ascending,
// each once.
func (s schedule) on(date time.Time, zone *time.Location) []time.Time {
	if !s.matches(date) {
		return nil
	}
	y, m, d := date.Date()
	if firstInstant(y, m, d, 0, 0, zone).Equal(firstInstant(y, m, d+1, 0, 0, zone)) {
		return nil // a date that this zone left out, as Samoa did in 2011
	}
	var out []time.Time
	for hour := range 24 {
		if !has(s.spec.Hour, hour) {
			continue
		}
		for minute := range 60 {
			if has(s.spec.Minute, minute) {
				out = append(out, firstInstant(y, m, d, hour, minute, zone))
			}
		}
	}
	slices.SortFunc(out, time.Time.Compare)
	return slices.CompactFunc(out, time.Time.Equal)
}

// firstInstant returns the first instant at which clocks in the zone show the
// given local time, or, when they jump over it, the first instant after the
// jump. Days beyond the month's end count on, as in [time.Date].
func firstInstant(y int, m time.Month, d, hour, minute int, zone *time.Location) time.Time {
	wall := time.Date(y, m, d, hour, minute, 0, 0, time.UTC)
	// No offset is larger than a day, so the search begins before the answer
	// and goes through the zone's periods of equal offset in order.
	for t := wall.Add(-25 * time.Hour).In(zone); ; {
		start, end := t.ZoneBounds()
		_, offset := t.Zone()
		candidate := wall.Add(-time.Duration(offset) * time.Second)
		switch {
		case !start.IsZero() && candidate.Before(start):
			return start.In(zone)
		case end.IsZero() || candidate.Before(end):
			return candidate.In(zone)
		}
		t = end.In(zone)
	}
}

// StartOfDay returns the first instant of a local date, which is not midnight
// where clocks jump over it.
func StartOfDay(y int, m time.Month, d int, zone *time.Location) time.Time {
	return firstInstant(y, m, d, 0, 0, zone)
}

// Slots returns the planned tests in [from, to), ascending, in the club's
// zone. Each local date that a cron expression names has exactly one slot for
// each time of day: on the day the clocks go forward over the planned time, at
// the first instant after; on the day they go back, at the first of the two.
// The error names a planned test whose expression can't be read, which [Load]
// would have refused.
func (c *Club) Slots(from, to time.Time) ([]Slot, error) {
	var out []Slot
	for i := range c.Planned {
		slots, err := c.Planned[i].slots(from, to, c.Zone)
		if err != nil {
			return nil, err
		}
		out = append(out, slots...)
	}
	slices.SortStableFunc(out, func(a, b Slot) int { return a.Time.Compare(b.Time) })
	return out, nil
}

func (p *Planned) slots(from, to time.Time, zone *time.Location) ([]Slot, error) {
	s, err := parseCron(p.Cron)
	if err != nil {
		return nil, fmt.Errorf("planned test %s: %w", p.ID, err)
	}
	// Outside the season there is nothing to walk through.
	if p.Season.From.After(from) {
		from = p.Season.From
	}
	if !p.Season.To.IsZero() && p.Season.To.Before(to) {
		to = p.Season.To
	}
	if !from.Before(to) {
		return nil, nil
	}
	var out []Slot
	y, m, d := from.In(zone).Date()
	// The day before: a jump over midnight moves its last slots here.
	for date := time.Date(y, m, d-1, 0, 0, 0, 0, time.UTC); date.Before(to.Add(48 * time.Hour)); date = date.AddDate(0, 0, 1) {
		if slices.Contains(p.Except, date.Format(time.DateOnly)) {
			continue
		}
		for _, t := range s.on(date, zone) {
			if !t.Before(from) && t.Before(to) {
				out = append(out, Slot{Planned: p, Time: t})
			}
		}
	}
	return out, nil
}

// Times returns the instants in [from, to) that a cron expression names in the
// club's zone, ascending: each local date and time once, whatever the clocks do.
// Errors wrap [ErrWord].
func (c *Club) Times(expression string, from, to time.Time) ([]time.Time, error) {
	slots, err := (&Planned{ID: expression, Cron: expression}).slots(from, to, c.Zone)
	out := make([]time.Time, len(slots))
	for i := range slots {
		out[i] = slots[i].Time
	}
	return out, err
}

// SlotsFor returns the planned tests of a squad that a trace from first to
// last sample could hold: those whose planned time, give or take Within, lies
// in it. Nearest to the trace's middle first. Planned tests that can't be read
// are left out.
func (c *Club) SlotsFor(squad string, first, last time.Time) []Slot {
	var out []Slot
	for i := range c.Planned {
		p := &c.Planned[i]
		if p.Squad != squad {
			continue
		}
		slots, err := p.slots(first.Add(-p.Within), last.Add(p.Within).Add(1), c.Zone)
		if err == nil {
			out = append(out, slots...)
		}
	}
	middle := first.Add(last.Sub(first) / 2)
	slices.SortStableFunc(out, func(a, b Slot) int {
		return cmp.Compare(a.Time.Sub(middle).Abs(), b.Time.Sub(middle).Abs())
	})
	return out
}
