package scorer

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime/debug"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"canter.example/scorer/engine"
	"canter.example/scorer/identify"
)

// scored is what came out of one file.
type scored struct {
	outcomes []schemas.Outcome
	windows  map[schemas.TestID][]schemas.TraceSecond
	loads    []schemas.TraceLoad
	series   []schemas.SeriesValue
	// unknown are the traces that nobody could be found for, in words.
	unknown []string
	// dropped is whether staff let go of what could not be handled.
	dropped bool
	// remarks say why traces held no test.
	remarks []string
	// doubts are planned tests that team-mates may help with, plannedGood the
	// sessions in which this file may help.
	doubts      []doubt
	plannedGood map[string]bool
}

// file takes one file from bytes to stored outcomes. maybeFirst is whether
// history may know nothing of it, as when its own event comes for the first time;
// the error is history.ErrKnown when it does.
// It is done at a desk, which it leaves when there is nothing left but to store.
func (s *Service) file(ctx context.Context, msg broker.FileMessage, v schemas.Version, maybeFirst bool, leave func()) error {
	if msg.Refused != "" {
		return s.park(ctx, msg, v, "", msg.Refused)
	}
	zone, date := s.openEnds(msg.Origin)
	traces, format, err := s.decode(msg, zone, date)
	var days series
	if err != nil || format == archive {
		days = s.readSeries(msg, zone, date)
	}
	msg.Forget()
	if err != nil {
		if !days.found {
			return s.park(ctx, msg, v, format, err.Error())
		}
		if format == "" {
			format = table
		}
	}
	known := past{first: true}
	if !maybeFirst {
		if known, err = s.past(ctx, msg.ID); err != nil {
			return err
		}
	}
	result, failed, err := s.score(ctx, msg, traces, known.words)
	if err != nil {
		return err
	}
	if failed != nil {
		return s.park(ctx, msg, v, format, failed.Error())
	}
	held := len(traces)
	if s.cfg.Free != nil { // what came of them has copies of its own
		s.cfg.Free(traces)
	}
	result.series = days.values
	result.unknown = append(result.unknown, days.unknown...)
	if known.words.file.Dropped {
		if err := s.asWhenDropped(ctx, msg.ID, &result); err != nil {
			return err
		}
	}
	f := schemas.File{
		ID: msg.ID, Origin: msg.Origin, Size: msg.Size, Format: format,
		Tests: len(result.outcomes), Traces: held, Version: v,
	}
	f.State, f.Reason = result.state()
	leave()
	err = s.save(ctx, history.FileResult{File: f, New: known.first, Tests: result.outcomes, Traces: result.windows, Loads: result.loads, Series: result.series})
	if errors.Is(err, history.ErrInvalid) {
		return s.park(ctx, msg, v, format, fmt.Sprintf("the history does not take what came of this file (%v): please report it with the file", err))
	}
	if errors.Is(err, history.ErrKnown) {
		return err
	}
	if err != nil {
		return refused(err)
	}
	for _, w := range result.windows { // they are stored, and nobody else has them
		engine.FreeWindow(w)
	}
	s.cfg.Meter.Stored(f.State, result.outcomes)
	s.log.Info("file handled", "file", f.ID.Short(), "path", f.Origin.Path, "state", f.State, "tests", f.Tests, "values", len(result.series), "reason", f.Reason)
	if err := s.tellMates(ctx, f, result, v); err != nil {
		return err
	}
	return s.tell(ctx, f, known, result.outcomes, v)
}

// The formats, as the decoder names them, that may hold daily series.
const (
	archive = "zip"
	table   = "csv"
)

// state says what became of the file, and why.
func (r *scored) state() (schemas.FileState, string) {
	switch {
	case len(r.unknown) > 0:
		reason := strings.Join(r.unknown, "; ")
		var stored []string
		if n := len(r.outcomes); n > 0 {
			stored = append(stored, fmt.Sprintf("%d tests were scored", n))
		}
		if n := len(r.series); n > 0 {
			stored = append(stored, fmt.Sprintf("%d daily values were stored", n))
		}
		if len(stored) > 0 {
			reason = fmt.Sprintf("in part (%s): %s", strings.Join(stored, ", "), reason)
		}
		if r.dropped {
			return schemas.FileDropped, reason
		}
		return schemas.FileParked, reason
	case len(r.outcomes) > 0:
		return schemas.FileScored, ""
	case len(r.loads) == 0 && len(r.series) > 0:
		return schemas.FileSeries, ""
	default:
		return schemas.FileTraining, strings.Join(r.remarks, "; ")
	}
}

// save stores a result under the version of its file.
func (s *Service) save(ctx context.Context, r history.FileResult) error {
	for i := range r.Tests {
		r.Tests[i].Version = r.File.Version
	}
	for i := range r.Loads {
		r.Loads[i].Version = r.File.Version
	}
	for i := range r.Series {
		r.Series[i].Version = r.File.Version
	}
	return s.history.SaveResult(ctx, r)
}

// decode runs the decoder; its panic is a damaged file, not a dead service.
func (s *Service) decode(msg broker.FileMessage, zone *time.Location, date time.Time) (traces []schemas.Trace, format string, err error) {
	defer func() {
		if p := recover(); p != nil {
			s.log.Error("scorer: decoder panicked", "file", msg.ID.Short(), "path", msg.Origin.Path, "panic", p, "stack", string(debug.Stack()))
			err = fmt.Errorf("%s: the reader failed on this file (%v): please report it with the file", msg.Origin.Path, p)
		}
	}()
	return s.cfg.Decode(msg.Origin.Path, msg.Content, zone, date)
}

// openEnds returns what the club file and the path say where a file's own
// times leave zone or date open.
func (s *Service) openEnds(o schemas.Origin) (*time.Location, time.Time) {
	zone := s.club.Zone
	if f := identify.Folder(s.club, o); f != nil && f.CSVZone != nil {
		zone = f.CSVZone
	}
	date, _ := identify.Date(s.club, o)
	return zone, date
}

// score finds whose each trace is and scores it. failed is a scorer that
// failed on this file; err is history that can't be read, worth a retry.
func (s *Service) score(ctx context.Context, msg broker.FileMessage, traces []schemas.Trace, w words) (out scored, failed, err error) {
	defer func() {
		if p := recover(); p != nil {
			s.log.Error("scorer: scoring panicked", "file", msg.ID.Short(), "path", msg.Origin.Path, "panic", p, "stack", string(debug.Stack()))
			failed = fmt.Errorf("%s: the scorer failed on this file (%v): please report it with the file", msg.Origin.Path, p)
		}
	}()
	out.plannedGood = map[string]bool{}
	out.windows = map[schemas.TestID][]schemas.TraceSecond{}
	owners := s.whose(msg, traces, w.file)
	out.unknown = strangeParts(traces, w.file)
	for i := range traces {
		tr, who := &traces[i], owners[i].answer
		if err := owners[i].err; err != nil {
			out.unknown = append(out.unknown, inPart(tr, len(traces), err))
			continue
		}
		rec := engine.Open(tr)
		out.loads = append(out.loads, s.load(msg, rec, who))
		found, remark, err := s.trace(ctx, msg, rec, who, w.tests, &out)
		rec.Close()
		if err != nil {
			return out, nil, err
		}
		if len(found) == 0 && remark != "" {
			if len(traces) > 1 {
				remark = tr.Part + ": " + remark
			}
			out.remarks = append(out.remarks, remark)
		}
		for _, f := range found {
			out.outcomes = append(out.outcomes, f.Outcome)
			out.windows[f.Outcome.TestID] = inMillimetres(f.Window)
		}
	}
	return out, nil, nil
}

// trace scores one athlete's trace by the planned tests it may hold, else by
// each of the squad's protocols. remark says why nothing was found. What
// concerns team-mates is noted in out.
func (s *Service) trace(ctx context.Context, msg broker.FileMessage, rec *engine.Recording, who identify.Answer, rulings map[schemas.TestID]schemas.Ruling, out *scored) (found []engine.Found, remark string, err error) {
	tr := rec.Trace
	for _, l := range s.looks(who.Squad, tr) {
		var fs []engine.Found
		var why string
		if l.slot == nil {
			fs, why = s.byProtocol(msg, rec, who, s.request(tr, who, l), rulings)
			fs, why = s.unplanned(fs, l.protocol, why)
		} else {
			var d *doubt
			if fs, why, d, err = s.byPlan(ctx, msg, rec, who, l, rulings); err != nil {
				return nil, "", err
			}
			if d != nil {
				out.doubts = append(out.doubts, *d)
			}
			for i := range fs {
				o := &fs[i].Outcome
				o.MicrocycleDay, o.Surface = l.slot.Planned.MicrocycleDay, l.slot.Planned.Surface
				if o.Quality == schemas.Good && o.StartSource != schemas.StartBySession {
					out.plannedGood[o.Session] = true
				}
			}
		}
		if why != "" {
			remark = why
		}
		found = append(found, fs...)
	}
	return withoutOverlaps(found), remark, nil
}

// look is one search of a trace: by a protocol, at a planned time or anywhere.
type look struct {
	protocol *schemas.Protocol
	slot     *club.Slot
}

// looks are the searches a trace is worth: each planned test that it may hold,
// and only if there is none, the squad's protocols, or all of the club's.
func (s *Service) looks(squad string, tr *schemas.Trace) []look {
	var out []look
	for _, slot := range s.club.SlotsFor(squad, tr.Start, tr.Start.Add(tr.End())) {
		if p := s.club.Protocol(slot.Planned.Protocol); p != nil {
			out = append(out, look{protocol: p, slot: &slot})
		}
	}
	if len(out) > 0 {
		return out
	}
	if q := s.club.Squad(squad); q != nil && len(q.Protocols) > 0 {
		for _, id := range q.Protocols {
			if p := s.club.Protocol(id); p != nil {
				out = append(out, look{protocol: p})
			}
		}
		return out
	}
	for i := range s.club.Protocols {
		out = append(out, look{protocol: &s.club.Protocols[i]})
	}
	return out
}

// byProtocol scores the trace by one protocol and gives each test its
// identity. Tests whose start staff set by hand are scored at that start.
func (s *Service) byProtocol(msg broker.FileMessage, rec *engine.Recording, who identify.Answer, req engine.Request, rulings map[schemas.TestID]schemas.Ruling) (found []engine.Found, remark string) {
	tr := rec.Trace
	result := rec.Score(req)
	if result.None != nil {
		remark = result.None.Text
	}
	found = result.Tests
	for ordinal := 0; ; ordinal++ {
		id := schemas.NewTestID(msg.ID, tr.Part, req.Protocol.ID, ordinal)
		r := rulings[id]
		if !r.Start.IsZero() {
			byHand := req
			byHand.Start, byHand.Around, byHand.Within = r.Start, time.Time{}, 0
			if again := rec.Score(byHand); len(again.Tests) > 0 {
				if ordinal < len(found) {
					found[ordinal] = again.Tests[0]
				} else {
					found = append(found, again.Tests[0])
				}
			}
		}
		if ordinal >= len(found) {
			break
		}
		s.identity(&found[ordinal].Outcome, id, msg, tr, who, req, r)
	}
	return found, remark
}

// identity fills in what the engine does not know.
func (s *Service) identity(o *schemas.Outcome, id schemas.TestID, msg broker.FileMessage, tr *schemas.Trace, who identify.Answer, req engine.Request, r schemas.Ruling) {
	o.TestID, o.FileID, o.Part = id, msg.ID, tr.Part
	o.Athlete, o.Squad = who.Athlete.ID, who.Squad
	o.Protocol, o.ProtocolVersion = req.Protocol.ID, req.Protocol.Version
	o.Session = schemas.SessionID(who.Squad, req.Protocol.ID, o.Start.In(s.club.Zone).Format(time.DateOnly))
	o.Staff = r.Verdict
	o.ScorerVersion = schemas.ScorerVersion
	o.Reasons = append(o.Reasons, who.Notes...)
}

// park stores a file with the reason why it could not be handled, and tells
// the alerts stage, which tells staff once; nobody is told of what staff
// dropped.
func (s *Service) park(ctx context.Context, msg broker.FileMessage, v schemas.Version, format, reason string) error {
	past, err := s.past(ctx, msg.ID)
	if err != nil {
		return err
	}
	f := schemas.File{
		ID: msg.ID, Origin: msg.Origin, Size: msg.Size, Format: format,
		State: schemas.FileParked, Reason: reason, Version: v,
	}
	if past.words.file.Dropped {
		f.State = schemas.FileDropped
	}
	if err := s.history.SaveResult(ctx, history.FileResult{File: f}); err != nil {
		return err
	}
	s.cfg.Meter.Stored(f.State, nil)
	s.log.Warn("file not handled", "file", f.ID.Short(), "path", f.Origin.Path, "state", f.State, "reason", reason)
	return s.tell(ctx, f, past, nil, v)
}

// tell publishes what became of a file: an event for each athlete with tests
// that are there now or were before, one for a parked file, and one for any
// other file that was known before, so that a notice about it can be closed.
func (s *Service) tell(ctx context.Context, f schemas.File, past past, now []schemas.Outcome, v schemas.Version) error {
	events := map[string]*schemas.TestEvent{}
	of := func(athlete string) *schemas.TestEvent {
		if events[athlete] == nil {
			events[athlete] = &schemas.TestEvent{File: f.ID, Athlete: athlete, First: past.first}
		}
		return events[athlete]
	}
	present := map[schemas.TestID]string{}
	for i := range now {
		present[now[i].TestID] = now[i].Athlete
		e := of(now[i].Athlete)
		e.Tests = append(e.Tests, now[i].TestID)
		if past.first {
			e.Places = addPlace(e.Places, &now[i])
		}
	}
	for i := range past.before {
		if b := &past.before[i]; present[b.TestID] != b.Athlete {
			e := of(b.Athlete)
			e.Gone = append(e.Gone, b.TestID)
		}
	}
	id := func(what string) string { return fmt.Sprintf("%s-%s-%d", f.ID, what, v) }
	for athlete, e := range events {
		token := schemas.AthleteToken(athlete)
		if err := s.broker.Publish(ctx, schemas.SubjectTest+token, id(token), *e); err != nil {
			return err
		}
	}
	if f.State == schemas.FileParked {
		return s.broker.Publish(ctx, schemas.SubjectParked+string(f.ID), id("parked"), schemas.ParkedEvent{File: f})
	}
	if len(events) == 0 && !past.first {
		return s.broker.Publish(ctx, schemas.SubjectTest+"none", id("none"), schemas.TestEvent{File: f.ID})
	}
	return nil
}

// addPlace notes where a test counts.
func addPlace(places []schemas.Place, o *schemas.Outcome) []schemas.Place {
	for i := range places {
		if p := &places[i]; p.Squad == o.Squad && p.Protocol == o.Protocol {
			if o.Start.Before(p.From) {
				p.From = o.Start
			}
			return places
		}
	}
	return append(places, schemas.Place{Squad: o.Squad, Protocol: o.Protocol, From: o.Start})
}

// inMillimetres rounds the speeds of a window to mm/s, which is how devices
// write them: readers keep them in 32 bits, which as text of 64 are seventeen
// digits each second.
func inMillimetres(window []schemas.TraceSecond) []schemas.TraceSecond {
	for i := range window {
		if v, ok := window[i].Speed.Get(); ok {
			window[i].Speed = schemas.Num(math.Round(v*1000) / 1000)
		}
	}
	return window
}
