package page

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"time"

	"canter.example/cmd/canter/parked"
	"canter.example/cmd/canter/report"
	"canter.example/cmd/canter/staff"
	"canter.example/ingest"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"canter.example/scorer/engine"
)

// History is what is read of the history.
type History interface {
	report.History
	parked.History
	Test(ctx context.Context, id schemas.TestID) (schemas.Outcome, bool, error)
	Tests(ctx context.Context, f history.TestFilter) ([]schemas.Outcome, error)
	TraceSeconds(ctx context.Context, id schemas.TestID) ([]schemas.TraceSecond, error)
	Assessment(ctx context.Context, test schemas.TestID) (schemas.Assessment, bool, error)
	Alert(ctx context.Context, id string) (schemas.Alert, bool, error)
	Notes(ctx context.Context, f history.NoteFilter) ([]schemas.Note, error)
	report.BesideHistory
}

// Scorer says what tests would be. It stores nothing.
type Scorer interface {
	Preview(ctx context.Context, o *schemas.Outcome, ruling schemas.Ruling) (engine.Found, error)
	Recording(ctx context.Context, o *schemas.Outcome) (*schemas.Trace, error)
}

// Broker is where changes and dropped files go.
type Broker interface {
	ingest.Archive
	Publish(ctx context.Context, subject, id string, event any) error
	File(ctx context.Context, id schemas.FileID, limit int64) (broker.FileMessage, error)
}

// Config sets the page up.
type Config struct {
	Club *club.Club
	// Settings are the club's, perhaps with another address.
	Settings club.Page
	History  History
	Scorer   Scorer
	Broker   Broker
	Log      *slog.Logger
	// Now is the clock; nil is the machine's.
	Now func() time.Time
}

// Page is the page. Its handler may be used by many requests at a time.
type Page struct {
	cfg    Config
	club   *club.Club
	names  *report.Names
	told   *calledNow // for texts that chat was told
	staff  staff.Desk
	parked parked.Desk
	access *access
	// uploads bounds how many files are held in memory at a time.
	uploads chan struct{}
}

// New checks the settings and returns a page. Errors say which setting stands
// in the way, and what is wrong with the file of users.
func New(cfg Config) (*Page, error) {
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	if key, text, hint := cfg.Settings.Problem(); text != "" {
		return nil, errors.New("page." + key + ": " + text + ". " + hint)
	}
	p := &Page{
		cfg: cfg, club: cfg.Club, names: &report.Names{Club: cfg.Club, Style: cfg.Club.Privacy.PageNames}, told: newCalledNow(cfg.Club),
		staff:   staff.Desk{Broker: cfg.Broker, Now: cfg.Now},
		parked:  parked.Desk{History: cfg.History, Broker: cfg.Broker, Now: cfg.Now},
		uploads: make(chan struct{}, 2),
	}
	var err error
	if p.access, err = newAccess(cfg.Settings, cfg.Now); err != nil {
		return nil, err
	}
	return p, nil
}

// Handler returns the page's handler, guarded.
func (p *Page) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /static/", staticFiles())
	mux.HandleFunc("GET /sign-in", p.signInForm)
	mux.HandleFunc("POST /sign-in", p.signIn)
	mux.HandleFunc("POST /sign-out", p.signOut)
	for pattern, h := range map[string]handler{
		"GET /{$}":                 p.sessions,
		"GET /session":             p.session,
		"GET /session/traces.json": p.sessionTraces,
		"GET /session/try":         p.trySession,
		"GET /session/report":      p.report,
		"GET /test":                p.test,
		"GET /test/trace.json":     p.testTrace,
		"GET /test/try":            p.tryTest,
		"GET /athletes":            p.athletes,
		"GET /athlete":             p.athlete,
		"GET /athlete/history.svg": p.athletePicture,
		"GET /squad":               p.squad,
		"GET /alerts":              p.alerts,
		"GET /files":               p.files,
		"GET /files/state":         p.fileState,
	} {
		mux.Handle(pattern, p.seen(h))
	}
	for pattern, h := range map[string]handler{
		"POST /session/start": p.moveSession,
		"POST /test/change":   p.changeTest,
		"POST /alerts/note":   p.note,
		"POST /files/drop":    p.drop,
		"POST /files/retry":   p.retryFile,
		"POST /files/letgo":   p.letGo,
	} {
		mux.Handle(pattern, p.changed(h))
	}
	return p.guard(mux)
}

// handler answers a request of somebody. An error becomes a page that says so.
type handler func(w http.ResponseWriter, r *http.Request, v viewer) error

// problem is an error that is the asker's to know.
type problem struct {
	status int
	text   string
}

func (p problem) Error() string { return p.text }

func notFound(text string) error { return problem{http.StatusNotFound, text} }

func badRequest(text string) error { return problem{http.StatusBadRequest, text} }

// seen lets those in who may look.
func (p *Page) seen(h handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v, ok := p.viewer(r)
		if !ok {
			p.askToSignIn(w, r)
			return
		}
		if err := h(w, r, v); err != nil {
			p.fail(w, r, v, err)
		}
	})
}

// changed lets those in who may change something.
func (p *Page) changed(h handler) http.Handler {
	return p.seen(func(w http.ResponseWriter, r *http.Request, v viewer) error {
		if !v.May {
			return problem{http.StatusForbidden, "You may look, but not change anything. Whoever looks after the page's users can change that."}
		}
		return h(w, r, v)
	})
}

// fail says what went wrong: the asker's mistakes in full, ours in the log.
func (p *Page) fail(w http.ResponseWriter, r *http.Request, v viewer, err error) {
	var mine problem
	if !errors.As(err, &mine) {
		if r.Context().Err() != nil {
			return // whoever asked has gone
		}
		p.cfg.Log.Error("page: request failed", "path", r.URL.Path, "err", err)
		mine = problem{http.StatusInternalServerError, "This did not work, through no fault of yours; nothing was changed. The service's log says why."}
	}
	p.render(w, mine.status, "problem", frame{Title: "Not possible", Viewer: v, Body: mine.text})
}
