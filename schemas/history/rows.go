package history

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"canter.example/schemas"
)

// columns lists a table's columns in the order of the values function beside
// it. A leading "-" marks one that is derived from the others, for queries; a
// leading "~" the readable twin of a time in milliseconds, which ClickHouse
// makes in its views. Neither is read back.
type columns struct {
	write []string // all
	plain []string // without the readable times
	read  []string // without both

	times []bool // for each of write: a readable time
}

func cols(spec string) columns {
	var c columns
	for name := range strings.FieldsSeq(spec) {
		bare := strings.TrimLeft(name, "-~")
		c.write = append(c.write, bare)
		c.times = append(c.times, name[0] == '~')
		if name[0] != '~' {
			c.plain = append(c.plain, bare)
		}
		if name == bare {
			c.read = append(c.read, bare)
		}
	}
	return c
}

// withoutTimes leaves the values of the readable times out.
func (c columns) withoutTimes(values []any) []any {
	kept := make([]any, 0, len(c.plain)+1)
	for i, v := range values {
		if !c.times[i] {
			kept = append(kept, v)
		}
	}
	return kept
}

// list returns the columns to read, for a SELECT.
func (c columns) list() string { return strings.Join(c.read, ", ") }

// clock turns an instant into what an engine keeps in a time column.
type clock func(time.Time) any

// scanner reads one row of the columns to read into the destinations.
type scanner func(dest ...any) error

// millis is what is kept of an instant. The zero time has milliseconds too, so
// that it comes back as zero.
func millis(t time.Time) int64 { return t.UnixMilli() }

func fromMillis(ms int64) time.Time { return time.UnixMilli(ms).UTC() }

// optional gives the two values of a time column that may be NULL.
func optional(t time.Time, at clock) (any, any) {
	if t.IsZero() {
		return nil, nil
	}
	return at(t), millis(t)
}

func fromOptional(ms *int64) time.Time {
	if ms == nil {
		return time.Time{}
	}
	return fromMillis(*ms)
}

// jsonText returns v as JSON, "[]" for an empty list.
func jsonText[T any](list []T) (string, error) {
	if len(list) == 0 {
		return "[]", nil
	}
	b, err := json.Marshal(list)
	return string(b), err
}

func fromJSON[T any](text string) ([]T, error) {
	var list []T
	if text == "" || text == "[]" {
		return nil, nil
	}
	if err := json.Unmarshal([]byte(text), &list); err != nil {
		return nil, err
	}
	return list, nil
}

// checkVersion refuses versions that an engine's signed integers can't hold.
func checkVersion(v schemas.Version) error {
	if uint64(v) > math.MaxInt64 {
		return fmt.Errorf("%w: version %d is too large", ErrInvalid, v)
	}
	return nil
}

// allFinite tells whether all are numbers.
func allFinite(shares ...float64) bool {
	for _, s := range shares {
		if math.IsNaN(s) || math.IsInf(s, 0) {
			return false
		}
	}
	return true
}

var fileColumns = cols(`file_id folder path squad ~modified modified_ms ~seen seen_ms
	size_bytes file_format state reason tests_found traces_found version`)

func putFile(r *record, f *schemas.File) error {
	if f.ID == "" {
		return fmt.Errorf("%w: a file without an id", ErrInvalid)
	}
	if err := checkVersion(f.Version); err != nil {
		return err
	}
	o := &f.Origin
	r.begin(fileColumns)
	r.text(string(f.ID), o.Folder, o.Path, o.Squad)
	r.time(o.Modified)
	r.time(o.Seen)
	r.int(f.Size)
	r.text(f.Format, string(f.State), f.Reason)
	r.int(int64(f.Tests), int64(f.Traces))
	r.uint(uint64(f.Version))
	return nil
}

func fileValues(f *schemas.File, at clock) ([]any, error) {
	r := forSQLite(fileColumns, at)
	err := putFile(r, f)
	return r.values, err
}

func scanFile(scan scanner) (schemas.File, error) {
	var f schemas.File
	var modified, seen, tests, traces int64
	err := scan((*string)(&f.ID), &f.Origin.Folder, &f.Origin.Path, &f.Origin.Squad, &modified, &seen,
		&f.Size, &f.Format, (*string)(&f.State), &f.Reason, &tests, &traces, (*uint64)(&f.Version))
	f.Origin.Modified, f.Origin.Seen = fromMillis(modified), fromMillis(seen)
	f.Tests, f.Traces = int(tests), int(traces)
	return f, err
}

var correctionColumns = cols(`correction_id test_id file_id action ~new_start new_start_ms who ~made made_ms why file_part given_athlete`)

func correctionValues(c *schemas.Correction, at clock) ([]any, error) {
	if c.ID == "" {
		return nil, fmt.Errorf("%w: a correction without an id", ErrInvalid)
	}
	start, startMS := optional(c.Start, at)
	return []any{c.ID, string(c.TestID), string(c.FileID), string(c.Action), start, startMS,
		c.Who, at(c.When), millis(c.When), c.Why, c.Part, c.Athlete}, nil
}

func scanCorrection(scan scanner) (schemas.Correction, error) {
	var c schemas.Correction
	var start *int64
	var made int64
	err := scan(&c.ID, (*string)(&c.TestID), (*string)(&c.FileID), (*string)(&c.Action), &start, &c.Who, &made, &c.Why, &c.Part, &c.Athlete)
	c.Start, c.When = fromOptional(start), fromMillis(made)
	return c, err
}

var alertColumns = cols(`alert_id rule urgency test_id file_id athlete squad protocol session
	~about about_ms state told text version`)

func alertValues(a *schemas.Alert, at clock) ([]any, error) {
	if a.ID == "" {
		return nil, fmt.Errorf("%w: an alert without an id", ErrInvalid)
	}
	if err := checkVersion(a.Version); err != nil {
		return nil, err
	}
	var told int64
	if a.Told {
		told = 1
	}
	return []any{a.ID, string(a.Rule), string(a.Urgency), string(a.TestID), string(a.FileID), a.Athlete, a.Squad,
		a.Protocol, a.Session, at(a.About), millis(a.About), string(a.State), told, a.Text, uint64(a.Version)}, nil
}

func scanAlert(scan scanner) (schemas.Alert, error) {
	var a schemas.Alert
	var about, told int64
	err := scan(&a.ID, (*string)(&a.Rule), (*string)(&a.Urgency), (*string)(&a.TestID), (*string)(&a.FileID),
		&a.Athlete, &a.Squad, &a.Protocol, &a.Session, &about, (*string)(&a.State), &told, &a.Text, (*uint64)(&a.Version))
	a.About, a.Told = fromMillis(about), told != 0
	return a, err
}

var messageColumns = cols(`message_id alert_id channel thread text state reference reason
	~created created_ms ~sent sent_ms attempts session says`)

func messageValues(m *schemas.Message, at clock) ([]any, error) {
	if m.ID == "" {
		return nil, fmt.Errorf("%w: a message without an id", ErrInvalid)
	}
	if messageRank(m) == 0 {
		return nil, fmt.Errorf("%w: message %s has the unknown state %q", ErrInvalid, m.ID, m.State)
	}
	says, err := jsonText(m.Says)
	if err != nil {
		return nil, fmt.Errorf("message %s: %w: %w", m.ID, ErrInvalid, err)
	}
	sent, sentMS := optional(m.Sent, at)
	return []any{m.ID, m.AlertID, m.Channel, m.Thread, m.Text, string(m.State), m.Reference, m.Reason,
		at(m.Created), millis(m.Created), sent, sentMS, int64(m.Attempts), m.Session, says}, nil
}

func scanMessage(scan scanner) (schemas.Message, error) {
	var m schemas.Message
	var created, attempts int64
	var sent *int64
	var says string
	err := scan(&m.ID, &m.AlertID, &m.Channel, &m.Thread, &m.Text, (*string)(&m.State), &m.Reference, &m.Reason,
		&created, &sent, &attempts, &m.Session, &says)
	if err == nil {
		m.Says, err = fromJSON[schemas.Saying](says)
	}
	m.Created, m.Sent, m.Attempts = fromMillis(created), fromOptional(sent), int(attempts)
	return m, err
}

var noteColumns = cols(`note_id alert_id athlete seen text who ~made made_ms`)

func noteValues(n *schemas.Note, at clock) ([]any, error) {
	if n.ID == "" || n.AlertID == "" {
		return nil, fmt.Errorf("%w: a note without an id or an alert", ErrInvalid)
	}
	var seen int64
	if n.Seen {
		seen = 1
	}
	return []any{n.ID, n.AlertID, n.Athlete, seen, n.Text, n.Who, at(n.When), millis(n.When)}, nil
}

func scanNote(scan scanner) (schemas.Note, error) {
	var n schemas.Note
	var seen, made int64
	err := scan(&n.ID, &n.AlertID, &n.Athlete, &seen, &n.Text, &n.Who, &made)
	n.Seen, n.When = seen != 0, fromMillis(made)
	return n, err
}

// messageRank orders the states of one message, attempts within a state; 0
// for an unknown state.
func messageRank(m *schemas.Message) uint64 {
	n := min(uint64(max(m.Attempts, 0)), math.MaxUint32)
	switch m.State {
	case schemas.MessagePending:
		return 1<<32 | n
	case schemas.MessageFailed:
		return 2<<32 | n
	case schemas.MessageSent:
		return 3<<32 | n
	default:
		return 0
	}
}

var athleteColumns = cols(`athlete name squad memberships birth_year sex hrmax_bpm hrmax_source hrmax_see_bpm hrrest_bpm`)

// membership is the JSON of one membership: days are UTC instants.
type membership struct {
	Squad string    `json:"squad"`
	From  time.Time `json:"from,omitzero"`
	To    time.Time `json:"to,omitzero"`
}

func athleteValues(a *AthleteRow) ([]any, error) {
	if a.ID == "" {
		return nil, fmt.Errorf("%w: an athlete without an id", ErrInvalid)
	}
	ms := make([]membership, len(a.Squads))
	for i, m := range a.Squads {
		ms[i] = membership{Squad: m.Squad, From: m.From.UTC(), To: m.To.UTC()}
	}
	memberships, err := jsonText(ms)
	if err != nil {
		return nil, fmt.Errorf("athlete %s: %w: %w", a.ID, ErrInvalid, err)
	}
	var birth any
	if a.BirthYear != 0 {
		birth = int64(a.BirthYear)
	}
	return []any{a.ID, a.Name, a.Squad, memberships, birth, string(a.Sex),
		a.HRmax.BPM, string(a.HRmax.Source), a.HRmax.SEE, a.HRrest}, nil
}

func scanAthlete(scan scanner) (AthleteRow, error) {
	var a AthleteRow
	var memberships string
	var birth *int64
	if err := scan(&a.ID, &a.Name, &a.Squad, &memberships, &birth, (*string)(&a.Sex),
		&a.HRmax.BPM, (*string)(&a.HRmax.Source), &a.HRmax.SEE, &a.HRrest); err != nil {
		return a, err
	}
	if birth != nil {
		a.BirthYear = int(*birth)
	}
	ms, err := fromJSON[membership](memberships)
	for _, m := range ms {
		a.Squads = append(a.Squads, schemas.Membership{Squad: m.Squad, Period: schemas.Period{From: m.From, To: m.To}})
	}
	return a, err
}
