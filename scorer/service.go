package scorer

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime"
	"strings"
	"sync"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
)

// Durable is the name of the scorers' shared consumer.
const Durable = "scorer"

// Decoder reads the bytes of a file into traces. zone and date are for files
// that leave them open; date is zero when nothing says it. An error of the
// decoder parks the file, with the error's text as the reason.
type Decoder func(name string, content []byte, zone *time.Location, date time.Time) (traces []schemas.Trace, format string, err error)

// SeriesDecoder reads the daily series of a file that holds such, alone or, in
// an archive, beside recordings; found is false for any other file. There may
// be rows beside an error: those that could be read.
type SeriesDecoder func(name string, content []byte, zone *time.Location, date time.Time) (rows []schemas.SeriesRow, found bool, err error)

// Broker is what the scorer needs of the broker.
type Broker interface {
	Consume(ctx context.Context, w broker.Work, h broker.Handler) error
	FileOf(ctx context.Context, d *broker.Delivery, limit int64) (broker.FileMessage, error)
	File(ctx context.Context, id schemas.FileID, limit int64) (broker.FileMessage, error)
	Publish(ctx context.Context, subject, id string, event any) error
	// Superseded reports whether a later event of the same subject is there.
	Superseded(ctx context.Context, d *broker.Delivery) (bool, error)
}

// History is what the scorer needs of the history.
type History interface {
	// File returns the stored record of a file.
	File(ctx context.Context, id schemas.FileID) (schemas.File, bool, error)
	// Tests returns tests; the scorer asks for those of one file.
	Tests(ctx context.Context, f history.TestFilter) ([]schemas.Outcome, error)
	// SessionTests returns the tests of one session.
	SessionTests(ctx context.Context, session string) ([]schemas.Outcome, error)
	// TraceSeconds returns the stored window of a test.
	TraceSeconds(ctx context.Context, id schemas.TestID) ([]schemas.TraceSecond, error)
	// FileLoads and FileSeries return what else is stored of a file.
	FileLoads(ctx context.Context, id schemas.FileID) ([]schemas.TraceLoad, error)
	FileSeries(ctx context.Context, id schemas.FileID) ([]schemas.SeriesValue, error)
	// SaveResult stores a file's record with all that was found in it, and
	// removes what an earlier scoring found and this did not. A result that is
	// New gives history.ErrKnown when something is stored of the file.
	SaveResult(ctx context.Context, r history.FileResult) error
	// Corrections returns those of a file's tests, in order of their ID.
	Corrections(ctx context.Context, id schemas.FileID) ([]schemas.Correction, error)
	SaveCorrection(ctx context.Context, c schemas.Correction) error
	// SlotDone and MarkSlot keep marks beside the work on files that came back.
	SlotDone(ctx context.Context, job, slot string) (bool, error)
	MarkSlot(ctx context.Context, job, slot string, at time.Time) error
}

// Config sets a scorer up.
type Config struct {
	Club   *club.Club
	Decode Decoder
	// Series reads daily series; nil when such files are to be parked.
	Series SeriesDecoder
	// Free is given the traces of a file that nobody will look at any more, for
	// their memory to be used again; nil leaves it to the collector.
	Free func(traces []schemas.Trace)
	// Workers have files in hand at the same time, in this process. Most of a
	// file's time is waiting for the broker and the disk.
	Workers int
	// Desks are how many of them read and score at the same time: each needs the
	// memory of a whole recording. 0 = one more than there are processors.
	Desks int
	Log   *slog.Logger
	// Meter is told what the scorer does; nil for nobody.
	Meter Meter
	// Now is the clock of the marks beside work that came back; nil is the
	// machine's. What is scored does not depend on it.
	Now func() time.Time
	// Pause between the last tries before a file is parked for what history
	// will not take; 0 = 2 s.
	Pause time.Duration
}

func (c *Config) pause() time.Duration {
	if c.Pause > 0 {
		return c.Pause
	}
	return 2 * time.Second
}

// Meter measures what the scorer does. Its methods are called from several
// goroutines.
type Meter interface {
	// Stored: what became of a file is in history, for the first time or again.
	Stored(state schemas.FileState, tests []schemas.Outcome)
	// Handled: a new file, noticed by ingest at seen, is stored and told on.
	Handled(seen time.Time)
}

type noMeter struct{}

func (noMeter) Stored(schemas.FileState, []schemas.Outcome) {}
func (noMeter) Handled(time.Time)                           {}

// testsOf returns the tests that the newest scoring of a file found.
func (s *Service) testsOf(ctx context.Context, id schemas.FileID) ([]schemas.Outcome, error) {
	return s.history.Tests(ctx, history.TestFilter{File: id})
}

// past is what is known of a file before it is scored.
type past struct {
	// first is whether that is nothing: the event is the file's own, delivered
	// for the first time, and the history has neither record nor correction. It
	// is taken for so until the history says otherwise when the result is stored.
	first  bool
	words  words
	before []schemas.Outcome
}

// past reads what is known of a file.
func (s *Service) past(ctx context.Context, id schemas.FileID) (p past, err error) {
	if p.words, err = s.words(ctx, id); err != nil {
		return p, err
	}
	p.before, err = s.testsOf(ctx, id)
	return p, err
}

// Service is one scorer. Any number may run on the same broker and history.
type Service struct {
	cfg     Config
	club    *club.Club
	broker  Broker
	history History
	log     *slog.Logger
	now     func() time.Time
	alone   sync.Mutex // held while an event that came back often is handled
	desks   chan struct{}

	tests    *reading[[]schemas.Outcome] // of a session
	doubtful *reading[[]schemas.Outcome] // those of its tests that are not good
}

// New returns a scorer.
func New(cfg Config, b Broker, h History) *Service {
	if cfg.Meter == nil {
		cfg.Meter = noMeter{}
	}
	s := &Service{cfg: cfg, club: cfg.Club, broker: b, history: h, log: cfg.Log, now: cfg.Now}
	if s.now == nil {
		s.now = time.Now //nolint:forbidigo // the one place where this stage meets the machine's clock
	}
	desks := cfg.Desks
	if desks <= 0 {
		desks = runtime.GOMAXPROCS(0) + 1
	}
	s.desks = make(chan struct{}, desks)
	s.tests = newReading(h.SessionTests)
	s.doubtful = newReading(func(ctx context.Context, session string) ([]schemas.Outcome, error) {
		return h.Tests(ctx, history.TestFilter{Sessions: []string{session}, NotGood: true})
	})
	return s
}

// sit waits for a desk, where a file can be read and scored, and returns what
// gives it to the next one; that may be called again.
func (s *Service) sit(ctx context.Context) (leave func(), err error) {
	select {
	case s.desks <- struct{}{}:
		return sync.OnceFunc(func() { <-s.desks }), nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// Work is the consumer of the scorers.
func Work(workers int, log *slog.Logger) broker.Work {
	return broker.Work{Stream: schemas.StreamInput, Durable: Durable, Workers: workers, Log: log}
}

// Run handles events until ctx ends, finishes or gives back what it has in
// hand, and returns nil.
func (s *Service) Run(ctx context.Context) error {
	return s.broker.Consume(ctx, Work(s.cfg.Workers, s.log), s.Handle)
}

// handle does the work of one event of [schemas.StreamInput].
func (s *Service) handle(ctx context.Context, d *broker.Delivery) error {
	switch {
	case strings.HasPrefix(d.Subject, schemas.SubjectFile):
		return s.onFile(ctx, d)
	case strings.HasPrefix(d.Subject, schemas.SubjectOrigin):
		return s.onOrigin(ctx, d)
	case strings.HasPrefix(d.Subject, schemas.SubjectRescore):
		return s.onRescore(ctx, d)
	case strings.HasPrefix(d.Subject, schemas.SubjectCorrection):
		return s.onCorrection(ctx, d)
	default:
		return broker.Permanent(fmt.Errorf("scorer: no work on subject %s", d.Subject))
	}
}

func (s *Service) onFile(ctx context.Context, d *broker.Delivery) error {
	leave, err := s.sit(ctx)
	if err != nil {
		return err
	}
	defer leave()
	msg, err := s.broker.FileOf(ctx, d, s.club.Files.MaxSize)
	if errors.Is(err, broker.ErrMessage) {
		msg.Refused = err.Error()
		return s.park(ctx, msg, d.Version, "", msg.Refused)
	}
	if errors.Is(err, broker.ErrNoFile) {
		// A power loss took it, most likely; who erases a file takes this event, too.
		return fmt.Errorf("%w: ingest puts it there anew when it is started and the file is in its folder: %w", err, errPoison)
	}
	if err != nil {
		return err
	}
	err = s.file(ctx, msg, d.Version, d.Tries <= 1, leave)
	if errors.Is(err, history.ErrKnown) { // seldom: once more, with what is known
		if msg, err = s.broker.FileOf(ctx, d, s.club.Files.MaxSize); err == nil {
			err = s.file(ctx, msg, d.Version, false, leave)
		}
	}
	if err != nil {
		return err
	}
	s.cfg.Meter.Handled(msg.Origin.Seen)
	return nil
}

// onOrigin gives a parked file another chance under its new name. A file that
// was handled stays as it is: a copy is the same file.
func (s *Service) onOrigin(ctx context.Context, d *broker.Delivery) error {
	var e schemas.OriginEvent
	if err := schemas.DecodeEvent(d.Data, &e); err != nil {
		return broker.Permanent(err)
	}
	f, ok, err := s.history.File(ctx, e.File)
	if err != nil {
		return err
	}
	if !ok {
		// Its first message is still being handled, or waits for history.
		return fmt.Errorf("scorer: file %s is not in history yet", e.File.Short())
	}
	if f.State != schemas.FileParked || samePlace(f.Origin, e.Origin) {
		return nil
	}
	return s.again(ctx, e.File, e.Origin, d.Version)
}

func (s *Service) onRescore(ctx context.Context, d *broker.Delivery) error {
	var e schemas.RescoreEvent
	if err := schemas.DecodeEvent(d.Data, &e); err != nil {
		return broker.Permanent(err)
	}
	// Each of a session's good tests may have asked for a doubtful one: the last
	// to ask stored its own before.
	if later, err := s.broker.Superseded(ctx, d); err != nil || later {
		return err
	}
	f, ok, err := s.history.File(ctx, e.File)
	if err != nil {
		return err
	}
	origin := schemas.Origin{}
	if ok {
		origin = f.Origin
	}
	return s.again(ctx, e.File, origin, d.Version)
}

// again scores a file of the archive once more, as if found at origin (zero:
// where it was found first). When the archive's time is over, what staff said
// of its tests is still applied to the outcomes in history.
func (s *Service) again(ctx context.Context, id schemas.FileID, origin schemas.Origin, v schemas.Version) error {
	leave, err := s.sit(ctx)
	if err != nil {
		return err
	}
	defer leave()
	msg, err := s.broker.File(ctx, id, s.club.Files.MaxSize)
	switch {
	case errors.Is(err, broker.ErrNoFile):
		return s.applyVerdicts(ctx, id, v)
	case errors.Is(err, broker.ErrMessage):
		msg.ID = id
		return s.park(ctx, msg, v, "", err.Error())
	case err != nil:
		return err
	}
	if origin.Path != "" {
		msg.Origin = origin
	}
	return s.file(ctx, msg, v, false, leave)
}

func samePlace(a, b schemas.Origin) bool { return a.Folder == b.Folder && a.Path == b.Path }
