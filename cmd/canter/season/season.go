package season

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Options choose a season. The zero value is the season of the demo.
type Options struct {
	// Seed of every random number; 0 is a seed like any other.
	Seed uint64
	// Weeks of the season, 1 to 52; 0 means 12. The story's events happen in
	// weeks 1 to 12, so a shorter season leaves some out.
	Weeks int
	// Athletes of the first squad, 20 to 40; 0 means 22. The second squad
	// always has six.
	Athletes int
	// Start is the Monday of the first week; only its date counts. The zero
	// time means 17 August 2026.
	Start time.Time
	// Whole makes devices record until a session's end, 60 to 80 min, as straps
	// do that nobody stops. Otherwise most stop after the test and some of what
	// follows, and a season's files stay small.
	Whole bool
}

// Season is everything a club would have after some weeks.
type Season struct {
	// ClubYAML is the club file, to be written as club.yaml into the season's
	// directory; its folders are relative to it.
	ClubYAML []byte
	// AthletesCSV is the spreadsheet that the club file names: athletes.csv.
	AthletesCSV []byte
	// Days with files, in order of time.
	Days []Day
	// Story is what happens to whom, in order of the weeks.
	Story []Story
	// Zone is the club's time zone.
	Zone *time.Location
}

// Day is one local date and the files that arrive on it.
type Day struct {
	// Date is local midnight.
	Date time.Time
	// Files in the order of their paths.
	Files []File
	// Note is what a practitioner would have written in the diary, "" on most days.
	Note string
}

// File is one file as it appears in a watched folder.
type File struct {
	// Folder is the watched folder as the club file names it: "inbox/first".
	Folder string
	// Path is below the season's directory and begins with Folder, with
	// forward slashes: "inbox/first/2026-08-18/AKF.fit".
	Path    string
	Content []byte
	// Truth has one entry for each athlete in the file; none for daily series.
	Truth []Truth
	// Daily is whether the file holds daily series instead of heart rates.
	Daily bool
}

// Truth is what really happened in one athlete's trace.
type Truth struct {
	// Athlete is the id in the roster; "" for somebody who is not in it.
	Athlete string
	// Test is whether the trace holds a whole test with its minute of recovery.
	Test bool
	// Start is when the test began, on the recording device's clock.
	Start time.Time
	// HRexBPM is the mean of the true heart rate over the last 60 s of the
	// test, and HRR60 the mean of its last 5 s minus the mean of the 5 s around
	// 60 s after its end, in bpm. Both are the body's, without rounding, strap
	// faults or dropouts; 0 without a test.
	HRexBPM float64
	HRR60   float64
	// Doubtful is whether the device spoiled the seconds that the outcomes
	// need: whoever calls such a trace good is wrong.
	Doubtful bool
	// Reason says in words what is special about the trace, "" when nothing is.
	Reason string
}

// Story is one thing that happens, and what a practitioner would expect to
// hear of it.
type Story struct {
	// Athlete is the id in the roster; "" when it concerns the squad or a stranger.
	Athlete string
	Name    string
	// FromWeek and ToWeek are counted from 1 and both included.
	FromWeek, ToWeek int
	What             string
	Expect           string
}

const (
	defaultWeeks    = 12
	defaultAthletes = 22
	minAthletes     = 20
	zoneName        = "Europe/Lisbon"
)

// New makes the season. Errors name the option that is out of range, or the
// time zone when the machine has no zone data for it.
func New(o Options) (*Season, error) {
	zone, err := time.LoadLocation(zoneName)
	if err != nil {
		return nil, fmt.Errorf("season: time zone %s: %w", zoneName, err)
	}
	o, err = o.filled(zone)
	if err != nil {
		return nil, err
	}
	g := &generator{Options: o, zone: zone, people: roster(o.Seed, o.Athletes)}
	s := &Season{
		ClubYAML:    g.clubYAML(),
		AthletesCSV: g.athletesCSV(),
		Story:       g.story(),
		Zone:        zone,
	}
	for week := 1; week <= o.Weeks; week++ {
		days, err := g.week(week)
		if err != nil {
			return nil, fmt.Errorf("season: week %d: %w", week, err)
		}
		s.Days = append(s.Days, days...)
	}
	return s, nil
}

func (o Options) filled(zone *time.Location) (Options, error) {
	if o.Weeks == 0 {
		o.Weeks = defaultWeeks
	}
	if o.Athletes == 0 {
		o.Athletes = defaultAthletes
	}
	if o.Start.IsZero() {
		o.Start = time.Date(2026, time.August, 17, 0, 0, 0, 0, zone)
	}
	y, m, d := o.Start.Date()
	o.Start = time.Date(y, m, d, 0, 0, 0, 0, zone)
	switch {
	case o.Weeks < 1 || o.Weeks > 52:
		return o, fmt.Errorf("season: %d weeks: choose 1 to 52", o.Weeks)
	case o.Athletes < minAthletes || o.Athletes > len(firstSquad):
		return o, fmt.Errorf("season: %d athletes: choose %d to %d", o.Athletes, minAthletes, len(firstSquad))
	case o.Start.Weekday() != time.Monday:
		return o, fmt.Errorf("season: start %s is a %s: choose a Monday", o.Start.Format(time.DateOnly), o.Start.Weekday())
	}
	return o, nil
}

// generator carries what every week needs.
type generator struct {
	Options
	zone   *time.Location
	people []person
}

// date returns local midnight of a weekday (Monday = 0) of a week (from 1).
func (g *generator) date(week, weekday int) time.Time {
	return g.Start.AddDate(0, 0, 7*(week-1)+weekday)
}

const (
	monday = iota
	tuesday
	wednesday
	thursday
	_
	_
	sunday
)

// week makes the days of one week that have files.
func (g *generator) week(week int) ([]Day, error) {
	test, late, err := g.testDay(week)
	if err != nil {
		return nil, err
	}
	training, err := g.trainingDay(week)
	if err != nil {
		return nil, err
	}
	var days []Day
	for _, d := range []Day{test, late, training} {
		if len(d.Files) == 0 {
			continue
		}
		slices.SortFunc(d.Files, func(a, b File) int { return strings.Compare(a.Path, b.Path) })
		days = append(days, d)
	}
	return days, nil
}

// testDay makes the Tuesday of a week, and the Wednesday for what was copied late.
func (g *generator) testDay(week int) (test, late Day, err error) {
	test = Day{Date: g.date(week, tuesday), Note: g.note(week)}
	late = Day{Date: g.date(week, wednesday)}
	for i := range g.people {
		p := &g.people[i]
		happens := g.happens(p, week)
		if p.squad != first || happens.absent {
			continue
		}
		rec, truth := g.testRecording(p, week, happens)
		content, err := encode(p, rec, g.zone)
		if err != nil {
			return test, late, fmt.Errorf("%s: %w", p.id, err)
		}
		path := p.id + p.device.extension()
		if happens.copyBroke {
			cut := Truth{Athlete: p.id, Reason: "the copy broke off before the test: the file ends early"}
			test.Files = append(test.Files, newFile(folderFirst, test.Date, path, cutBeforeTest(content, rec), cut))
			truth.Reason = "copied again a day late"
			late.Note = p.id + ": yesterday's file copied again, whole this time"
			late.Files = append(late.Files, newFile(folderFirst, late.Date, path, content, truth))
			continue
		}
		test.Files = append(test.Files, newFile(folderFirst, test.Date, path, content, truth))
	}
	if week == strangerWeek {
		f, err := g.stranger(test.Date, week)
		if err != nil {
			return test, late, err
		}
		test.Files = append(test.Files, f)
	}
	f, err := g.teamExport(test.Date, week)
	if err != nil {
		return test, late, err
	}
	test.Files = append(test.Files, f, g.conditions(test.Date, week), g.wellness(test.Date, week, tuesday))
	return test, late, nil
}

// trainingDay makes the Thursday: sessions without a test, for the athletes
// who wear their own watch to every training, and the week's wellness sheet.
func (g *generator) trainingDay(week int) (Day, error) {
	day := Day{Date: g.date(week, thursday)}
	for i := range g.people {
		p := &g.people[i]
		if p.squad != first || !p.wearsAlways || g.happens(p, week).absent {
			continue
		}
		rec := g.trainingRecording(p, week)
		content, err := encode(p, rec, g.zone)
		if err != nil {
			return day, fmt.Errorf("%s: %w", p.id, err)
		}
		truth := Truth{Athlete: p.id, Reason: "training without a test"}
		day.Files = append(day.Files, newFile(folderFirst, day.Date, p.id+p.device.extension(), content, truth))
	}
	day.Files = append(day.Files, g.wellness(day.Date, week, thursday))
	return day, nil
}

func newFile(folder string, date time.Time, name string, content []byte, truth ...Truth) File {
	return File{
		Folder:  folder,
		Path:    folder + "/" + date.Format(time.DateOnly) + "/" + name,
		Content: content,
		Truth:   truth,
	}
}
