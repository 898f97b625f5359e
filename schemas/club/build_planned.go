package club

import (
	"fmt"
	"slices"
	"time"
)

// mostPerDay bounds how often a planned test may start on one day: more is a
// cron expression that doesn't say what was meant.
const mostPerDay = 12

func (b *builder) planned(at string, w *plannedWritten) {
	okSquad := b.known(at+".squad", w.Squad, "squad")
	okProtocol := b.known(at+".protocol", w.Protocol, "protocol")
	p := Planned{
		ID: string(w.ID), Squad: string(w.Squad), Protocol: string(w.Protocol), Cron: string(w.Cron),
		SayAllHere: w.SayAllHere, MicrocycleDay: string(w.MicrocycleDay), Surface: string(w.Surface),
	}
	p.Within = b.length(at+".within", w.Within, DefaultWithin, time.Minute, 12*time.Hour)
	if w.RemindAfter != "never" {
		p.RemindAfter = b.length(at+".remind_after", w.RemindAfter, DefaultRemindAfter, time.Minute, 14*24*time.Hour)
	}
	p.Season = b.period(at, w.From, w.To)
	for i, d := range w.Except {
		if t := b.day(fmt.Sprintf("%s.except[%d]", at, i), d); !t.IsZero() {
			p.Except = append(p.Except, t.In(b.club.Zone).Format(time.DateOnly))
		}
	}
	slices.Sort(p.Except)
	if w.Cron != "" {
		b.cron(at+".cron", p.Cron)
	}
	if !okSquad || !okProtocol {
		return
	}
	idAt := at
	if p.ID != "" {
		idAt += ".id"
	} else {
		p.ID = p.Squad + "-" + p.Protocol
	}
	for i := range b.club.Planned {
		if Fold(b.club.Planned[i].ID) == Fold(p.ID) {
			b.fail(idAt, fmt.Sprintf("two planned tests have the id %s", quote(p.ID)), "Give each planned test its own id")
			return
		}
	}
	b.club.Planned = append(b.club.Planned, p)
}

func (b *builder) cron(at, expression string) {
	s, err := parseCron(expression)
	if err != nil {
		b.word(at, err)
		return
	}
	switch n := s.perDay(); {
	case !s.everFires():
		b.fail(at, quote(expression)+" never happens", "Check day and month: that date is in no year")
	case n > mostPerDay:
		b.fail(at, fmt.Sprintf("%s starts the test %d times a day", quote(expression), n),
			"The first two fields are minute and hour: 30 10 * * MON is Monday at 10:30")
	}
}
