package schemas

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"
)

// EventFormat is the version of the events' JSON. A reader refuses a newer
// one, so that an old process never guesses at a new field's meaning.
const EventFormat = 1

// ErrEvent is returned by [DecodeEvent] for bytes that are no event of the
// expected kind: broken JSON, a newer format, or a missing name.
var ErrEvent = errors.New("not a valid event")

// Streams, and the subjects each holds.
//
// CANTER_INPUT is all that makes the scorer work: files found, further places where
// a known file was seen, requests to score again, corrections. One stream, so
// that its sequence numbers give one order to all of them (see [Version]).
// CANTER_CONTENT has the bytes of the files.
// CANTER_TESTS carries what the scorer did to the alerts stage, CANTER_SQUADS
// which squads are to be gone through again, CANTER_CHAT what is to be said,
// CANTER_KNOWN which files have been in the archive.
const (
	StreamInput = "CANTER_INPUT"

	// StreamContent is written once a file and seldom read: by scorers in other
	// processes than the one that found the file, and when one is scored again. A
	// server holds what it wrote in memory as long as somebody reads of it, for ten
	// seconds: tens of megabytes, were the bytes in the stream that scorers follow.
	StreamContent = "CANTER_CONTENT"

	StreamTests = "CANTER_TESTS"
	StreamChat  = "CANTER_CHAT"

	// StreamSquads holds one waiting message a squad and protocol: a newer one
	// takes the older one's place and its work; done, it is gone.
	StreamSquads = "CANTER_SQUADS"

	// StreamKnown outlives the archive: a file whose time there is over, and
	// that still lies in its folder, is not to come back by itself.
	StreamKnown = "CANTER_KNOWN"

	SubjectFile       = "canter.file."       // + file id; no body (until November 2026: the file, compressed)
	SubjectContent    = "canter.content."    // + file id; body: the file, compressed
	SubjectOrigin     = "canter.origin."     // + file id + "." + PathToken; OriginEvent
	SubjectRescore    = "canter.rescore."    // + file id; RescoreEvent
	SubjectCorrection = "canter.correction." // + test id, or file id; Correction
	SubjectTest       = "canter.test."       // + AthleteToken; TestEvent
	SubjectParked     = "canter.parked."     // + file id; ParkedEvent
	SubjectChat       = "canter.chat."       // + message id; ChatEvent
	SubjectSquad      = "canter.squad."      // + SquadToken; SquadEvent
	SubjectNote       = "canter.note."       // + alert id; Note
	SubjectKnown      = "canter.known."      // + file id + "." + its modification time in ms; no body
)

// Headers of a file message.
const (
	HeaderOrigin   = "Canter-Origin"   // Origin as JSON
	HeaderSize     = "Canter-Size"     // bytes before compression
	HeaderEncoding = "Canter-Encoding" // "zstd"
)

// AthleteToken is the athlete's part of a subject: ids may hold characters
// that subjects may not, and names don't belong there.
func AthleteToken(athlete string) string {
	sum := sha256.Sum256([]byte(athlete))
	return hex.EncodeToString(sum[:4])
}

// PathToken is a place's part of a subject: one event for each place where a
// file was seen.
func PathToken(o Origin) string {
	sum := sha256.Sum256([]byte(o.Folder + "\x00" + o.Path))
	return hex.EncodeToString(sum[:8])
}

// OriginEvent says that a file already in the archive was seen at another
// place: a parked file may have been given a better name.
type OriginEvent struct {
	File   FileID `json:"file"`
	Origin Origin `json:"origin"`
}

// RescoreEvent asks for a file of the archive to be scored again.
type RescoreEvent struct {
	File FileID `json:"file"`
	// Cause says why, for the log.
	Cause string `json:"cause"`
}

// TestEvent says that tests of one athlete were stored: scored, scored again,
// corrected or gone. Athlete is empty when a file that was parked turned out
// to hold no test: nothing to assess, but the notice about it is over.
type TestEvent struct {
	File    FileID   `json:"file"`
	Athlete string   `json:"athlete,omitempty"`
	Tests   []TestID `json:"tests,omitempty"`
	// Gone are tests that an earlier scoring of the file found and this did not.
	Gone []TestID `json:"gone,omitempty"`
	// First says that nothing was known of the file before, so that Places are
	// all that its tests touch. Otherwise they are to be looked for.
	First  bool    `json:"first,omitempty"`
	Places []Place `json:"places,omitempty"`
}

// Place is where tests of an event count.
type Place struct {
	Squad    string `json:"squad"`
	Protocol string `json:"protocol"`
	// From is the start of the earliest of them.
	From time.Time `json:"from"`
}

// ParkedEvent says that a file could not be handled.
type ParkedEvent struct {
	File File `json:"file"`
}

// SquadToken is a squad and protocol's part of a subject.
func SquadToken(squad, protocol string) string {
	sum := sha256.Sum256([]byte(squad + "\x00" + protocol))
	return hex.EncodeToString(sum[:8])
}

// SquadEvent says that something changed in a squad's tests by one protocol
// from an instant on: its sessions since then are to be assessed.
type SquadEvent struct {
	Squad    string    `json:"squad"`
	Protocol string    `json:"protocol"`
	From     time.Time `json:"from"`
	// Waiting is since when work has been waiting, by the publisher's clock:
	// a session that never gets quiet is told in the end.
	Waiting time.Time `json:"waiting"`
	// Now asks not to wait for quiet, as for what staff changed.
	Now bool `json:"now,omitempty"`
}

// ChatEvent asks for a message of the outbox to be sent, or for what is to be
// said of sessions to be put into the outbox.
type ChatEvent struct {
	Message  string   `json:"message,omitempty"`
	Sessions []string `json:"sessions,omitempty"`
}

// envelope is the wire form: the format's number beside the event.
type envelope struct {
	Format int             `json:"format"`
	Kind   string          `json:"kind"`
	Event  json.RawMessage `json:"event"`
}

func kindOf(e any) (string, error) {
	switch e.(type) {
	case OriginEvent, *OriginEvent:
		return "origin", nil
	case RescoreEvent, *RescoreEvent:
		return "rescore", nil
	case Correction, *Correction:
		return "correction", nil
	case TestEvent, *TestEvent:
		return "test", nil
	case ParkedEvent, *ParkedEvent:
		return "parked", nil
	case ChatEvent, *ChatEvent:
		return "chat", nil
	case SquadEvent, *SquadEvent:
		return "squad", nil
	case Note, *Note:
		return "note", nil
	default:
		return "", fmt.Errorf("schemas: %T is no event", e)
	}
}

// EncodeEvent returns the wire form of one of the event types of this file or
// of a [Correction].
func EncodeEvent(e any) ([]byte, error) {
	kind, err := kindOf(e)
	if err != nil {
		return nil, err
	}
	body, err := json.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("schemas: encode %s event: %w", kind, err)
	}
	return json.Marshal(envelope{Format: EventFormat, Kind: kind, Event: body})
}

// DecodeEvent reads the wire form into e, a pointer to one of the event types.
// Errors wrap [ErrEvent].
func DecodeEvent(b []byte, e any) error {
	kind, err := kindOf(e)
	if err != nil {
		return err
	}
	var env envelope
	if err := strictJSON(b, &env); err != nil {
		return fmt.Errorf("%w: %w", ErrEvent, err)
	}
	if env.Format != EventFormat {
		return fmt.Errorf("%w: format %d, this program reads %d: upgrade it", ErrEvent, env.Format, EventFormat)
	}
	if env.Kind != kind {
		return fmt.Errorf("%w: kind %q where %q was expected", ErrEvent, env.Kind, kind)
	}
	if err := json.Unmarshal(env.Event, e); err != nil {
		return fmt.Errorf("%w: %s: %w", ErrEvent, kind, err)
	}
	return nil
}

func strictJSON(b []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("text after the end of the event")
	}
	return nil
}
