package season

import (
	"strconv"
	"time"
)

// Who the story is about, and when. Everybody else has an ordinary season.
const (
	detraining = "ODL"
	ill        = "PGR"
	strapFails = "JPT"
	injured    = "HNK"
	missesTest = "BSO"
	copyBreaks = "SKA"

	hotWeek      = 9
	illWeek      = 6
	strangerWeek = 2
	missedWeek   = 5
	copyWeek     = 4

	injuredFrom, injuredTo     = 3, 7
	detrainFrom, detrainTo     = 6, 11
	strapWearsFrom             = 5
	strapDropsOut, strapSticks = 7, 8
	newStrapWeek               = 9
)

// happening is what one week does to one athlete.
type happening struct {
	absent bool
	// hrex in points of %HRmax, the whole session long; hrr in bpm.
	hrex, hrr float64
	strap     strapState
	copyBroke bool
	reason    string
}

func (h *happening) because(reason string) {
	if h.reason != "" {
		h.reason += ", "
	}
	h.reason += reason
}

// happens returns what befalls an athlete in a week, other than chance.
func (g *generator) happens(p *person, week int) happening {
	var h happening
	if week == hotWeek {
		r := chance(g.Seed, "heat", p.id)
		h.hrex += normal(r, 4, 0.5, 2.8, 5.2)
		h.hrr -= 2
		h.because("hot day")
	}
	switch p.id {
	case detraining:
		if week >= detrainFrom {
			gone := float64(min(week, detrainTo) - detrainFrom + 1)
			h.hrex += gone
			h.hrr -= 1.6 * gone
			h.because("losing fitness")
		}
	case ill:
		if week == illWeek {
			h.hrex += 7
			h.hrr -= 12
			h.because("falling ill")
		}
	case strapFails:
		h.strap = strapInWeek(week)
	case injured:
		h.absent = week >= injuredFrom && week <= injuredTo
		if week > injuredTo {
			// 5.5 points at first, most of it gone in four weeks.
			back := float64(week - injuredTo - 1)
			h.hrex += max(0, 5.5-1.5*back)
			h.hrr -= max(0, 7-2*back)
			h.because("back from injury")
		}
	case missesTest:
		h.absent = week == missedWeek
	case copyBreaks:
		h.copyBroke = week == copyWeek
	}
	return h
}

func strapInWeek(week int) strapState {
	switch {
	case week == strapDropsOut:
		return strapDrops
	case week == strapSticks:
		return strapStuck
	case week >= strapWearsFrom && week < strapDropsOut:
		return strapWorn
	default:
		return strapFine
	}
}

// temperature of a test day in °C.
func (g *generator) temperature(week int) int {
	if week == hotWeek {
		return 31
	}
	return uniform(chance(g.Seed, "weather", strconv.Itoa(week)), 16, 22)
}

// note is the diary's line for a test day.
func (g *generator) note(week int) string {
	if week == hotWeek {
		return "31 °C, no wind, dry pitch: a hot day for everybody"
	}
	r := chance(g.Seed, "weather", strconv.Itoa(week))
	_ = uniform(r, 16, 22) // the temperature is the first draw
	return strconv.Itoa(g.temperature(week)) + " °C, " + []string{"light wind", "overcast", "sunny", "light rain before"}[r.IntN(4)]
}

// story returns the events that fall into the season, in order of their start.
func (g *generator) story() []Story {
	all := []Story{
		{"", "a guest", strangerWeek, strangerWeek,
			"A guest trains with the first squad; the file bears a name that the club file does not know.",
			"The file is parked with its reason, staff are told once, and nothing else waits for it."},
		{injured, "", injuredFrom, injuredTo,
			"Injured in week 2 and away: no files.",
			"Named among those without a test in these weeks."},
		{copyBreaks, "", copyWeek, copyWeek,
			"The copy of the file breaks off before the test; it is copied again the next day.",
			"The short file gives no test and says that it ends early; the whole one is scored a day late, in its place."},
		{missesTest, "", missedWeek, missedWeek,
			"Misses the planned test.",
			"Named as without a test that day, once."},
		{strapFails, "", strapWearsFrom, strapSticks,
			"The strap wears out: short dropouts in weeks 5 and 6, most of the last minute lost in week 7, a slipped and then stuck value in week 8. A new strap from week 9.",
			"Weeks 7 and 8 are not good, with reasons in words, and enter no baseline; no alert about the heart, but a word about the strap."},
		{ill, "", illWeek, illWeek,
			"Falling ill: HRex about 7 points of %HRmax higher and HRR60 about 12 bpm less in one week, then as usual.",
			"The strongest alert of the season in that week: both together; nothing the week after."},
		{detraining, "", detrainFrom, detrainTo,
			"Trains little: HRex rises by about 1 point of %HRmax a week and recovery slows by about 1.6 bpm a week.",
			"At first inside the usual range; an alert after some weeks, when the rise has left the baseline's range."},
		{injured, "", injuredTo + 1, injuredTo + 4,
			"Back from injury: HRex about 5.5 points of %HRmax higher at first, coming down week by week.",
			"Too few earlier tests for a verdict: the baseline is still being built, and says so."},
		{"", "everybody", hotWeek, hotWeek,
			"A hot day, 31 °C: HRex about 4 points of %HRmax higher for the whole squad.",
			"What the squad shares is told as one thing, not as twenty: everybody moved together."},
	}
	var in []Story
	for _, s := range all {
		if s.FromWeek > g.Weeks {
			continue
		}
		for i := range g.people {
			if g.people[i].id == s.Athlete {
				s.Name = g.people[i].name
			}
		}
		s.ToWeek = min(s.ToWeek, g.Weeks)
		in = append(in, s)
	}
	return in
}

// stranger makes the file of a guest whom the club file does not know.
func (g *generator) stranger(date time.Time, week int) (File, error) {
	p := &person{
		someone: someone{"GUEST-01", "A Guest", "AG", false, 1999, csvComma},
		squad:   first, index: 1,
	}
	body(g.Seed, p)
	rec, truth := g.testRecording(p, week, happening{})
	content, err := encode(p, rec, g.zone)
	if err != nil {
		return File{}, err
	}
	truth.Athlete = ""
	truth.Reason = "a guest whom the club file does not know"
	return newFile(folderFirst, date, "GUEST-01"+p.device.extension(), content, truth), nil
}
