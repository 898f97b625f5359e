package scorer

import (
	"fmt"
	"runtime/debug"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/scorer/engine"
	"canter.example/scorer/identify"
)

// What stands beside the tests: the load of every recording and daily series.

// load returns the training load of a recording.
func (s *Service) load(msg broker.FileMessage, rec *engine.Recording, who identify.Answer) schemas.TraceLoad {
	tr := rec.Trace
	l := schemas.TraceLoad{FileID: msg.ID, Part: tr.Part, Athlete: who.Athlete.ID, Squad: who.Squad}
	l.Load = rec.Load(who.Athlete, tr.Start.In(s.club.Zone).Year())
	if l.Start.IsZero() { // the engine gave up, and says so in the reasons
		l.Start = tr.Start
	}
	l.Date = l.Start.In(s.club.Zone).Format(time.DateOnly)
	return l
}

// series is what a file holds of daily series.
type series struct {
	// found is whether the file, or an entry of an archive, is one of such.
	found  bool
	values []schemas.SeriesValue
	// unknown are the values that nobody could be found for and what can't be
	// read, in words.
	unknown []string
}

// readSeries reads the daily series of a file. A panic of the reader is a
// damaged file, not a dead service.
func (s *Service) readSeries(msg broker.FileMessage, zone *time.Location, date time.Time) (out series) {
	if s.cfg.Series == nil {
		return series{}
	}
	defer func() {
		if p := recover(); p != nil {
			s.log.Error("scorer: series decoder panicked", "file", msg.ID.Short(), "path", msg.Origin.Path, "panic", p, "stack", string(debug.Stack()))
			out = series{found: true, unknown: []string{fmt.Sprintf("%s: the reader failed on this file (%v): please report it with the file", msg.Origin.Path, p)}}
		}
	}()
	rows, found, err := s.cfg.Series(msg.Origin.Path, msg.Content, zone, date)
	out = s.owned(msg, rows)
	out.found = found
	if err != nil {
		out.unknown = append(out.unknown, err.Error())
	}
	return out
}

// owned finds whose the values are. Spellings of one athlete come together
// here: values of the same day and series add up where such values do, else
// the last stands.
func (s *Service) owned(msg broker.FileMessage, rows []schemas.SeriesRow) (out series) {
	type key struct {
		identify.Owner
		date, series string
	}
	type place struct {
		n    int
		part string
	}
	at := make(map[key]place, len(rows))
	if len(rows) > 0 {
		out.values = make([]schemas.SeriesValue, 0, len(rows))
	}
	type complaint struct {
		text, place string
		values      int
	}
	var complaints []*complaint
	by := map[string]*complaint{}
	// An athlete's day has several values: who it is, is asked once.
	type asked struct{ athlete, squad, date string }
	type answer struct {
		owner identify.Owner
		err   error
	}
	answers := map[asked]answer{}
	sheet := identify.SheetAt(s.club, msg.Origin)
	for i := range rows {
		r := &rows[i]
		who := asked{r.Athlete, r.Squad, r.Date}
		a, known := answers[who]
		if !known {
			a.owner, a.err = sheet.Whose(r)
			answers[who] = a
		}
		owner, err := a.owner, a.err
		if err != nil {
			c := by[err.Error()]
			if c == nil {
				c = &complaint{text: err.Error(), place: strings.TrimPrefix(fmt.Sprintf("%s, line %d", r.Part, r.Line), ", ")}
				by[c.text] = c
				complaints = append(complaints, c)
			}
			c.values++
			continue
		}
		v := schemas.SeriesValue{
			Athlete: owner.Athlete, Squad: owner.Squad, Date: r.Date, Series: r.Series, Value: r.Value, Unit: r.Unit, FileID: msg.ID,
		}
		k := key{owner, r.Date, r.Series}
		was, again := at[k]
		switch {
		case !again:
			was.n = len(out.values)
			out.values = append(out.values, v)
		case schemas.SummedSeries(r.Series) && was.part == r.Part:
			out.values[was.n].Value += v.Value
		default:
			out.values[was.n] = v
		}
		if !again || was.part != r.Part {
			at[k] = place{n: was.n, part: r.Part}
		}
	}
	for _, c := range complaints {
		out.unknown = append(out.unknown, fmt.Sprintf("%s: %s (values left out: %d)", c.place, c.text, c.values))
	}
	return out
}
