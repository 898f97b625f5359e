package season

import (
	"strconv"
	"time"
)

const (
	wellnessFile   = "wellness.csv"
	conditionsFile = "conditions.csv"
)

// conditions makes the line that somebody writes down on the day of a test for
// each squad: how warm it was.
func (g *generator) conditions(date time.Time, week int) File {
	b := []byte("date,squad,temperature (°C)\n")
	for _, squad := range []string{first, second} {
		b = append(b, date.Format(time.DateOnly)+","+squad+","+strconv.Itoa(g.temperature(week))+"\n"...)
	}
	f := newFile(folderFirst, date, conditionsFile, b)
	f.Daily = true
	return f
}

// wellness makes the sheet that the first squad's athletes fill in each
// morning and after each session, as it is exported on the mornings of tests and
// at the week's end: how they slept and feel, how hard the session was and how
// long it took. On a test's morning its session is still to come.
func (g *generator) wellness(date time.Time, week, until int) File {
	b := []byte("date,athlete,RPE,minutes,sleep (h),wellness (4-20)\n")
	for weekday := monday; weekday <= until; weekday++ {
		day := g.date(week, weekday).Format(time.DateOnly)
		for i := range g.people {
			p := &g.people[i]
			if p.squad == first {
				b = g.wellnessLine(b, p, week, day, weekday != wednesday && (weekday != tuesday || until > tuesday))
			}
		}
	}
	f := newFile(folderFirst, date, wellnessFile, b)
	f.Daily = true
	return f
}

// wellnessLine adds an athlete's day. Whoever is away fills in the morning's
// questions and has no session; nobody has one on Wednesday.
func (g *generator) wellnessLine(b []byte, p *person, week int, day string, session bool) []byte {
	r := chance(g.Seed, "wellness", p.id, day)
	sleep, feeling := normal(r, 7.6, 0.7, 4.5, 10), normal(r, 15, 1.5, 6, 20)
	rpe, minutes := normal(r, 5, 1, 1, 10), uniform(r, 60, 80)
	h := g.happens(p, week)
	switch {
	case p.id == ill && week == illWeek:
		sleep, feeling, rpe = sleep-1.5, feeling-5, min(rpe+2, 10)
	case p.id == detraining && week >= detrainFrom:
		rpe, minutes = rpe-1, minutes-15
	}
	b = append(append(b, day...), ',')
	b = append(append(b, p.id...), ',')
	if session && !h.absent {
		b = strconv.AppendInt(b, int64(max(1, rpe)), 10)
		b = append(b, ',')
		b = strconv.AppendInt(b, int64(minutes), 10)
	} else {
		b = append(b, ',')
	}
	b = append(b, ',')
	b = strconv.AppendFloat(b, sleep, 'f', 1, 64)
	b = append(b, ',')
	b = strconv.AppendInt(b, int64(max(4, feeling)), 10)
	return append(b, '\n')
}
