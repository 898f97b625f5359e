package club

import (
	"time"

	"canter.example/schemas"
)

// Club is a club file, read, checked and with its defaults filled in. It is
// not changed after loading and may be shared between goroutines.
type Club struct {
	// Path of the club file; relative folders are taken from its directory.
	Path string
	Name string
	// Zone is the club's time zone: local dates, planned times, CSV clock times.
	Zone   *time.Location
	Squads []Squad
	// Folders are shared by squads: the squad comes from the path pattern or
	// from the athlete's membership. See [Club.Watched] for all folders.
	Folders    []Folder
	Athletes   []schemas.Athlete
	Protocols  []schemas.Protocol
	Planned    []Planned
	Thresholds Thresholds
	Privacy    Privacy
	Chat       Chat
	Digest     Digest
	Files      Files
	Page       Page

	// names are collected by Parse.
	names *names
}

// Squad is a group of athletes that train together and share a chat channel.
type Squad struct {
	ID      string
	Name    string
	Folders []Folder
	// Channel is the chat channel of the squad's messages ("" = Chat.Channel).
	Channel string
	// Protocols are the ids searched for in this squad's files, in order, when
	// no planned test says which; all of the club's when the file names none.
	Protocols []string
}

// Folder is a place where heart-rate files appear.
type Folder struct {
	// Path is absolute.
	Path string
	// Name is the folder as the club file writes it. It goes into
	// [schemas.Origin], as it outlives a move of the club to another machine.
	Name string
	// Pattern names parts of the path below Path: "{date}/{athlete}.*"; parts
	// are {squad}, {date}, {athlete}, {any}. "" when paths say nothing.
	Pattern string
	// CSVZone is the zone of clock times in CSV files of this folder; the
	// club's zone unless set.
	CSVZone *time.Location

	// pattern is compiled by Parse.
	pattern *Pattern
}

// Called is the folder's name in [schemas.Origin].
func (f *Folder) Called() string {
	if f.Name != "" {
		return f.Name
	}
	return f.Path
}

// Match reads a path below the folder by the folder's pattern; ok is false
// when there is none or the path does not fit it.
func (f *Folder) Match(path string) (parts Parts, ok bool) {
	p := f.pattern
	if p == nil {
		if f.Pattern == "" {
			return Parts{}, false
		}
		var err error
		if p, err = CompilePattern(f.Pattern); err != nil {
			return Parts{}, false
		}
	}
	return p.Match(path)
}

// Planned is a test that the club runs at regular times.
type Planned struct {
	ID       string
	Squad    string
	Protocol string
	// Cron is a five-field cron expression in the club's zone: when the test starts.
	Cron string
	// Within is how far the true start may be from the planned time, either way.
	Within time.Duration
	// RemindAfter the planned time, athletes without a file are reported; 0 = never.
	RemindAfter time.Duration
	// SayAllHere tells the channel when nobody is missing then.
	SayAllHere    bool
	MicrocycleDay string
	Surface       string
	// Season holds the days of the plan; Except are local dates without the
	// test ("2006-01-02"), sorted.
	Season schemas.Period
	Except []string
}

// Slot is one planned test at its time.
type Slot struct {
	Planned *Planned
	Time    time.Time
}

// Thresholds decide when a change deserves a look. Sources of the defaults
// stand in defaults.go.
type Thresholds struct {
	// HRexRisePoints is the least rise of HRex in points of %HRmax (Bpm where
	// HRmax is unknown), from the baseline mean.
	HRexRisePoints float64
	HRexRiseBPM    float64
	// HRRFallBPM is the least fall of HRR from the baseline mean, in bpm.
	HRRFallBPM float64
	// Z is the least |z| that goes with either.
	Z float64
	// MinBaseline tests are needed for a verdict; the baseline is the last
	// BaselineTests within BaselineAge.
	MinBaseline   int
	BaselineTests int
	BaselineAge   time.Duration
	// Typical errors: HRex in points of %HRmax, HRR in bpm.
	HRexTE float64
	HRRTE  float64
	// TellWithin: tests older than this when scored are recorded, not told.
	TellWithin time.Duration
	// Baseline is rolling or a reference block; Reference holds the block's days.
	Baseline  schemas.Basis
	Reference schemas.Period
	// SquadPoints (HRex, % points of HRmax) and SquadHRR (bpm) are the largest
	// shifts of a whole session that still count as a trifle.
	SquadPoints float64
	SquadHRR    float64
	// DriftShift is the lasting change, in SDs of a single test, that the drift
	// charts are made for; DriftRunLength the tests between false alarms of an
	// unchanged athlete.
	DriftShift     float64
	DriftRunLength float64
	// Again: a fact that goes on for so many tests running is told once more; 0 = never.
	Again int
	Rules Rules
}

// Rules holds how each rule is set.
type Rules struct {
	HRexRisen, HRRWorsened, Both Rule
	HRexRunning, HRRRunning      Rule
	HRexDrift, HRRDrift          Rule
	OutsideBand, HRmaxExceeded   Rule
	TraceUnusable, SquadEffect   Rule
	TestMissing, Easier          Rule
}

// Rule is the setting of one rule.
type Rule struct {
	// Off silences the rule altogether.
	Off bool
	// Change is the least change that fires, in % points of HRmax for HRex and
	// bpm for HRR, Z the least |z| beside it, Tests how many running; 0 where a
	// rule has no such threshold.
	Change float64
	Z      float64
	Tests  int
	// MinTests is the least evidence: tests in the baseline.
	MinTests int
	Urgency  schemas.Urgency
	// HoldOff: what fired within this time before is not told again.
	HoldOff time.Duration
	// Tell is a chat channel, [TellSquad] or [TellDigest].
	Tell string
}

// Who a rule tells, when it is no channel by name.
const (
	// TellSquad is the squad's own channel.
	TellSquad = "squad"
	// TellDigest records the alert for the digest and sends nothing.
	TellDigest = "digest"
)

// Channel returns the channel that a rule names, "" when it names none.
func (r Rule) Channel() string {
	if r.Tell == TellSquad || r.Tell == TellDigest {
		return ""
	}
	return r.Tell
}

// Of returns the setting of a rule; ok is false for rules that are not set.
func (r *Rules) Of(id schemas.RuleID) (rule Rule, ok bool) {
	if p := r.at(id); p != nil {
		return *p, true
	}
	return Rule{}, false
}

func (r *Rules) at(id schemas.RuleID) *Rule {
	switch id {
	case schemas.RuleHRexRisen:
		return &r.HRexRisen
	case schemas.RuleHRRWorsened:
		return &r.HRRWorsened
	case schemas.RuleBoth:
		return &r.Both
	case schemas.RuleHRexRunning:
		return &r.HRexRunning
	case schemas.RuleHRRRunning:
		return &r.HRRRunning
	case schemas.RuleHRexDrift:
		return &r.HRexDrift
	case schemas.RuleHRRDrift:
		return &r.HRRDrift
	case schemas.RuleOutsideBand:
		return &r.OutsideBand
	case schemas.RuleHRmaxExceeded:
		return &r.HRmaxExceeded
	case schemas.RuleTraceInvalid:
		return &r.TraceUnusable
	case schemas.RuleSquadEffect:
		return &r.SquadEffect
	case schemas.RuleTestMissing:
		return &r.TestMissing
	case schemas.RuleEasier:
		return &r.Easier
	case schemas.RuleFileParked:
	}
	return nil
}

// Settable are the rules that a club file may set, in the order of telling.
var Settable = []schemas.RuleID{
	schemas.RuleHRexRisen, schemas.RuleHRRWorsened, schemas.RuleBoth, schemas.RuleHRexRunning, schemas.RuleHRRRunning,
	schemas.RuleHRexDrift, schemas.RuleHRRDrift, schemas.RuleOutsideBand, schemas.RuleHRmaxExceeded,
	schemas.RuleTraceInvalid, schemas.RuleSquadEffect, schemas.RuleTestMissing, schemas.RuleEasier,
}

// NameStyle is how athletes appear in chat.
type NameStyle string

// Name styles.
const (
	ShowName     NameStyle = "name"
	ShowInitials NameStyle = "initials"
	ShowID       NameStyle = "id"
)

// Privacy limits what leaves canter and how long it is kept.
type Privacy struct {
	// ChatNames is how athletes are called in chat.
	ChatNames NameStyle
	// PageNames is how athletes are called on the page.
	PageNames NameStyle
	// HistoryNames is how athletes are called in the history's athletes table.
	HistoryNames NameStyle
	// KeepFiles is how long the raw archive is kept; 0 = for good.
	KeepFiles time.Duration
	// KeepHistory is how long tests, alerts and messages are kept; 0 = for good.
	KeepHistory time.Duration
}

// Files sets how folders are watched.
type Files struct {
	// Settle is how long a file must be unchanged before it is read.
	Settle time.Duration
	// Rescan is how often folders are listed, whatever events say.
	Rescan time.Duration
	// MaxSize in bytes; larger files are parked unread.
	MaxSize int64
}

// Watch is a folder to be watched, with the squad it belongs to.
type Watch struct {
	// Squad is "" for a folder that squads share.
	Squad string
	Folder
}

// Watched returns all folders, those of the squads first. None lies inside
// another.
func (c *Club) Watched() []Watch {
	var out []Watch
	for _, s := range c.Squads {
		for _, f := range s.Folders {
			out = append(out, Watch{Squad: s.ID, Folder: f})
		}
	}
	for _, f := range c.Folders {
		out = append(out, Watch{Folder: f})
	}
	return out
}

// Athlete returns the athlete with this id, nil when there is none.
func (c *Club) Athlete(id string) *schemas.Athlete {
	for i := range c.Athletes {
		if c.Athletes[i].ID == id {
			return &c.Athletes[i]
		}
	}
	return nil
}

// Squad returns the squad with this id, nil when there is none.
func (c *Club) Squad(id string) *Squad {
	for i := range c.Squads {
		if c.Squads[i].ID == id {
			return &c.Squads[i]
		}
	}
	return nil
}

// Protocol returns the protocol with this id, nil when there is none.
func (c *Club) Protocol(id string) *schemas.Protocol {
	for i := range c.Protocols {
		if c.Protocols[i].ID == id {
			return &c.Protocols[i]
		}
	}
	return nil
}

// DigestChannel returns the channel of a squad's digests.
func (c *Club) DigestChannel(squad string) string {
	if c.Digest.Channel != "" {
		return c.Digest.Channel
	}
	return c.ChannelOf(squad)
}

// ChannelOf returns the chat channel of a squad.
func (c *Club) ChannelOf(squad string) string {
	if s := c.Squad(squad); s != nil && s.Channel != "" {
		return s.Channel
	}
	return c.Chat.Channel
}

// NameOf returns what the athlete is called in chat, by the privacy setting.
func (c *Club) NameOf(id string) string {
	return Called(c.Athlete(id), id, c.Privacy.ChatNames)
}

// Called returns an athlete's name in the given style; the id when the
// athlete is unknown (nil) or has no such name.
func Called(a *schemas.Athlete, id string, style NameStyle) string {
	switch {
	case a == nil || style == ShowID:
		return id
	case style == ShowInitials && a.Initials != "":
		return a.Initials
	case style == ShowName && a.Name != "":
		return a.Name
	default:
		return id
	}
}
