package identify

import (
	"fmt"
	"path"
	"path/filepath"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Question is a trace whose athlete is asked for.
type Question struct {
	Origin schemas.Origin
	Trace  *schemas.Trace
	// Traces is the number of traces in the file.
	Traces int
	// Override is the id of an athlete given by staff, "" when none.
	Override string
}

// Answer is whose trace it is.
type Answer struct {
	Athlete *schemas.Athlete
	// Squad is the one the athlete trained with.
	Squad string
	// How the athlete was found, in words: "the path says q01".
	How string
	// Notes are doubts that did not stand in the way.
	Notes []schemas.Reason
}

// Who returns the athlete and squad of a trace. The error is an
// [*Unidentified]: nobody, or more than one, can be meant, the clues
// contradict each other, or the athlete was not in the squad on that day.
func Who(c *club.Club, q Question) (Answer, error) {
	if q.Trace == nil || q.Trace.Start.IsZero() {
		return Answer{}, refuse("the trace has no date", "Put {date} into the folder's pattern and the date into the path")
	}
	t := q.Trace.Start
	parts, _ := partsOf(c, q.Origin)
	squad, err := squadOf(c, q.Origin, parts)
	if err != nil {
		return Answer{}, err
	}
	if q.Override != "" {
		return overridden(c, q, squad)
	}
	clues := cluesOf(c, q, parts)
	a, how, notes, err := agree(c, clues, squad, t)
	if err != nil {
		return Answer{}, err
	}
	answer := Answer{Athlete: a, How: how, Notes: notes}
	answer.Squad, err = membership(c, a, squad, q.Trace, &answer.Notes)
	if err != nil {
		return Answer{}, err
	}
	return answer, nil
}

// Folder returns the watched folder that a file was found in, nil when the
// club file has it no more.
func Folder(c *club.Club, o schemas.Origin) *club.Folder {
	if w := watchOf(c, o); w != nil {
		return &w.Folder
	}
	return nil
}

// Where returns the path of the file now, of a folder that the club file has no
// more as the origin has it.
func Where(c *club.Club, o schemas.Origin) string {
	folder := o.Folder
	if f := Folder(c, o); f != nil {
		folder = f.Path
	}
	return filepath.Join(filepath.FromSlash(folder), filepath.FromSlash(o.Path))
}

// watchOf finds the folder as the club file writes it or by its absolute path.
// Origins of old have that path as it was when the file was found; since then
// the club may have moved: then the folder is the one with the longest name
// that the path ends in.
func watchOf(c *club.Club, o schemas.Origin) *club.Watch {
	if o.Folder == "" {
		return nil
	}
	named := filepath.Clean(filepath.FromSlash(o.Folder))
	var moved *club.Watch
	longest := 0
	for _, w := range c.Watched() {
		if w.Name == o.Folder || filepath.Clean(w.Path) == named {
			return &w
		}
		name := filepath.Clean(filepath.FromSlash(w.Name))
		if filepath.IsLocal(name) && filepath.IsAbs(named) && len(name) > longest && strings.HasSuffix(named, string(filepath.Separator)+name) {
			moved, longest = &w, len(name)
		}
	}
	return moved
}

// Date returns the first instant of the local date that the path names, in
// the zone of the folder's CSV files; false when it names none.
func Date(c *club.Club, o schemas.Origin) (time.Time, bool) {
	w := watchOf(c, o)
	if w == nil {
		return time.Time{}, false
	}
	parts, ok := w.Match(o.Path)
	d, err := time.Parse(time.DateOnly, parts.Date)
	if !ok || err != nil {
		return time.Time{}, false
	}
	zone := w.CSVZone
	if zone == nil {
		zone = c.Zone
	}
	return club.StartOfDay(d.Year(), d.Month(), d.Day(), zone), true
}

func partsOf(c *club.Club, o schemas.Origin) (club.Parts, bool) {
	if w := watchOf(c, o); w != nil {
		return w.Match(o.Path)
	}
	return club.Parts{}, false
}

// squadOf returns the squad that folder and path name, "" when they leave it
// to the athlete's membership.
func squadOf(c *club.Club, o schemas.Origin, parts club.Parts) (string, error) {
	owner := o.Squad
	if w := watchOf(c, o); w != nil {
		owner = w.Squad
	}
	if c.Squad(owner) == nil {
		owner = "" // the folder's squad left the club file since
	}
	if parts.Squad == "" {
		return owner, nil
	}
	named := squadNamed(c, parts.Squad)
	switch {
	case named == "":
		return "", refuse(fmt.Sprintf("the path names the squad %q, which the club file does not have", parts.Squad),
			"Add the squad, or rename the folder to the id of one")
	case owner != "" && owner != named:
		return "", refuse(fmt.Sprintf("the path names the squad %s, but the folder is %s's", named, owner),
			"Move the file to the right folder, or the folder to the key folders of the club file")
	}
	return named, nil
}

// membership returns the squad that the athlete was in on the day.
func membership(c *club.Club, a *schemas.Athlete, squad string, tr *schemas.Trace, notes *[]schemas.Reason) (string, error) {
	t := tr.Start
	day := t.In(c.Zone).Format(time.DateOnly)
	var in []string
	for _, m := range a.Squads {
		if m.Contains(t) {
			in = append(in, m.Squad)
		}
	}
	switch {
	case len(in) == 0:
		return "", refuse(fmt.Sprintf("the athlete %s was in no squad on %s", a.ID, day),
			"Correct from and to of the athlete in the club file, or check the clock of the device", a.ID)
	case squad != "" && a.In(squad, t):
		return squad, nil
	case squad != "":
		return "", refuse(fmt.Sprintf("the athlete %s was not in the squad %s on %s, but in %s", a.ID, squad, day, strings.Join(in, " and ")),
			"Add the membership with its days to the club file, or move the file to the other squad's folder", a.ID)
	case len(in) == 1:
		return in[0], nil
	}
	for _, s := range in {
		if len(c.SlotsFor(s, t, t.Add(tr.End()))) > 0 {
			return s, nil
		}
	}
	note(notes, "the athlete %s was in %s on %s; the first is taken", a.ID, strings.Join(in, " and "), day)
	return in[0], nil
}

// overridden answers with the athlete that staff gave. The folder's squad
// gives way to the athlete's own: staff know who trained where.
func overridden(c *club.Club, q Question, squad string) (Answer, error) {
	a := c.Athlete(q.Override)
	if a == nil {
		return Answer{}, refuse(fmt.Sprintf("staff named the athlete %q, whom the club file does not have", q.Override),
			"Give an id of the club file", similar(c, q.Override)...)
	}
	answer := Answer{Athlete: a, How: "staff said " + a.ID}
	if squad != "" && !a.In(squad, q.Trace.Start) && a.SquadAt(q.Trace.Start) != "" {
		note(&answer.Notes, "the file lay with the squad %s, which %s was not in", squad, a.ID)
		squad = ""
	}
	var err error
	if answer.Squad, err = membership(c, a, squad, q.Trace, &answer.Notes); err != nil {
		return Answer{}, err
	}
	return answer, nil
}

func note(notes *[]schemas.Reason, format string, args ...any) {
	*notes = append(*notes, schemas.Reason{Code: schemas.ReasonIdentity, Text: fmt.Sprintf(format, args...)})
}

// dataFile reports whether a part of a file is the name of a file in a ZIP.
func dataFile(part string) bool {
	part, _, _ = strings.Cut(part, "#")
	switch strings.ToLower(path.Ext(part)) {
	case ".fit", ".tcx", ".gpx", ".csv", ".txt", ".tsv", ".xml", ".zip", ".gz":
		return true
	default:
		return false
	}
}
