package alerts

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"canter.example/alerts/chat"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"golang.org/x/sync/errgroup"
)

// Durables are the names of the shared consumers of this stage.
const (
	DurableTests  = "alerts"
	DurableSquads = "squads"
	DurableChat   = "chat"
)

// dueEvery is how often planned tests are looked at. Reminders are told to the
// minute, not to the second.
const dueEvery = 20 * time.Second

// Broker is what this stage needs of the broker.
type Broker interface {
	Consume(ctx context.Context, w broker.Work, h broker.Handler) error
	Publish(ctx context.Context, subject, id string, event any) error
	Gather(ctx context.Context, subject string, merge func(waiting *schemas.SquadEvent) schemas.SquadEvent) error
}

// History is what this stage needs of the history.
type History interface {
	Tests
	AthleteTests(ctx context.Context, athlete, protocol string) ([]schemas.Outcome, error)
	Test(ctx context.Context, id schemas.TestID) (schemas.Outcome, bool, error)
	SessionTests(ctx context.Context, session string) ([]schemas.Outcome, error)
	TraceSeconds(ctx context.Context, id schemas.TestID) ([]schemas.TraceSecond, error)
	AllCorrections(ctx context.Context, test schemas.TestID) ([]schemas.Correction, error)
	AthleteLoads(ctx context.Context, athlete string, from, to time.Time) ([]schemas.TraceLoad, error)
	AthleteSeries(ctx context.Context, athlete, squad, from, to string) ([]schemas.SeriesValue, error)
	Assessment(ctx context.Context, test schemas.TestID) (schemas.Assessment, bool, error)
	Assessments(ctx context.Context, f history.AssessmentFilter) ([]schemas.Assessment, error)
	SaveAssessments(ctx context.Context, as []schemas.Assessment) error
	Alert(ctx context.Context, id string) (schemas.Alert, bool, error)
	Alerts(ctx context.Context, f history.AlertFilter) ([]schemas.Alert, error)
	SaveAlert(ctx context.Context, a schemas.Alert, messages []schemas.Message) error
	SaveAlerts(ctx context.Context, as []schemas.Alert) error
	Message(ctx context.Context, id string) (schemas.Message, bool, error)
	// Messages returns those in a state, in the order in which they were made.
	Messages(ctx context.Context, state schemas.MessageState) ([]schemas.Message, error)
	SaveMessage(ctx context.Context, m schemas.Message) error
	SessionMessages(ctx context.Context, sessions ...string) ([]schemas.Message, error)
	SaveNote(ctx context.Context, n schemas.Note) error
	Notes(ctx context.Context, f history.NoteFilter) ([]schemas.Note, error)
	SlotDone(ctx context.Context, job, slot string) (bool, error)
	MarkSlot(ctx context.Context, job, slot string, at time.Time) error
	Retain(ctx context.Context, before time.Time) (*history.Retained, error)
	Tidy(ctx context.Context) error
	File(ctx context.Context, id schemas.FileID) (schemas.File, bool, error)
}

// Meter measures what this stage does. Its methods are called from several
// goroutines.
type Meter interface {
	// Sent: the chat has a message. seen is when ingest noticed the file behind
	// it; zero for an answer, a reminder and whatever else has no file.
	Sent(seen time.Time)
	// Refused: the chat will never take a message. Failed: not now.
	Refused()
	Failed()
}

type noMeter struct{}

func (noMeter) Sent(time.Time) {}
func (noMeter) Refused()       {}
func (noMeter) Failed()        {}

// Config sets the stage up.
type Config struct {
	Club *club.Club
	Chat chat.Poster
	// Workers assess at the same time, in this process.
	Workers int
	Log     *slog.Logger
	// Now is the clock; nil is the machine's.
	Now func() time.Time
	// Meter is told what the stage does; nil for nobody.
	Meter Meter
	// Coming reports whether files are on their way to this stage; nil where the
	// process does not see all of the way.
	Coming func(ctx context.Context) bool
}

// Service is one alerts process. Any number may run on the same broker and
// history; one message at a time goes out among them all.
type Service struct {
	cfg     Config
	club    *club.Club
	broker  Broker
	history History
	log     *slog.Logger
	now     func() time.Time
	// large is held during a review of many tests.
	large sync.Mutex
	// sketches are pictures of messages that wait to be sent.
	sketches sketches
}

// New returns the stage.
func New(cfg Config, b Broker, h History) *Service {
	s := &Service{cfg: cfg, club: cfg.Club, broker: b, history: h, log: cfg.Log, now: cfg.Now}
	if cfg.Meter == nil {
		s.cfg.Meter = noMeter{}
	}
	if s.now == nil {
		s.now = time.Now //nolint:forbidigo // the one place where this stage meets the machine's clock
	}
	return s
}

// WorkTests is the consumer of test events, WorkChat that of the outbox.
func WorkTests(workers int, log *slog.Logger) broker.Work {
	return broker.Work{Stream: schemas.StreamTests, Durable: DurableTests, Workers: workers, Log: log}
}

// WorkSquads is the consumer of squads to be gone through.
func WorkSquads(workers int, log *slog.Logger) broker.Work {
	return broker.Work{Stream: schemas.StreamSquads, Durable: DurableSquads, Workers: workers, Log: log}
}

// WorkChat keeps one message out among all processes: chat keeps its order,
// and no two look for the same message and both miss it.
func WorkChat(log *slog.Logger) broker.Work {
	return broker.Work{Stream: schemas.StreamChat, Durable: DurableChat, Workers: 1, OneAtATime: true, Log: log}
}

// Run handles events, sends messages and looks for missing tests until ctx
// ends, and returns nil then.
func (s *Service) Run(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	// Test events mostly wait for the broker, and those that wait together share
	// what they ask for.
	g.Go(func() error { return s.broker.Consume(ctx, WorkTests(8*s.cfg.Workers, s.log), s.Handle) })
	g.Go(func() error { return s.broker.Consume(ctx, WorkSquads(s.cfg.Workers, s.log), s.OnSquad) })
	g.Go(func() error { return s.broker.Consume(ctx, WorkChat(s.log), s.Send) })
	g.Go(func() error { s.sketches.run(ctx, s.drawAll); return nil })
	g.Go(func() error {
		tick := time.NewTicker(dueEvery)
		defer tick.Stop()
		for {
			if err := s.Due(ctx, s.now()); err != nil && ctx.Err() == nil {
				s.log.Warn("alerts: what is due could not be done; next try in a moment", "err", err)
			}
			select {
			case <-ctx.Done():
				return nil
			case <-tick.C:
			}
		}
	})
	return g.Wait()
}

// Handle does the work of one event of [schemas.StreamTests].
func (s *Service) Handle(ctx context.Context, d *broker.Delivery) error {
	switch {
	case strings.HasPrefix(d.Subject, schemas.SubjectTest):
		var e schemas.TestEvent
		if err := schemas.DecodeEvent(d.Data, &e); err != nil {
			return broker.Permanent(err)
		}
		return s.onTest(ctx, e, d.Version)
	case strings.HasPrefix(d.Subject, schemas.SubjectParked):
		var e schemas.ParkedEvent
		if err := schemas.DecodeEvent(d.Data, &e); err != nil {
			return broker.Permanent(err)
		}
		return s.onParked(ctx, e, d.Version)
	case strings.HasPrefix(d.Subject, schemas.SubjectNote):
		var n schemas.Note
		if err := schemas.DecodeEvent(d.Data, &n); err != nil {
			return broker.Permanent(err)
		}
		return s.onNote(ctx, n)
	default:
		return broker.Permanent(fmt.Errorf("alerts: no work on subject %s", d.Subject))
	}
}
