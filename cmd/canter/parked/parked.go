package parked

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/broker"
)

// shortestPrefix is how many digits of an id name a file at least.
const shortestPrefix = 6

var (
	// ErrNoFile is returned when no file's id begins as asked for.
	ErrNoFile = errors.New("no file's id begins so")
	// ErrAmbiguous is returned when several files' ids do, or when too few
	// digits were given to look.
	ErrAmbiguous = errors.New("that does not name one file")
	// ErrState is returned when a file's state does not allow what is asked.
	ErrState = errors.New("not possible in the file's state")
	// ErrNoReason is returned when a change needs a reason and has none.
	ErrNoReason = errors.New("say why: it is kept in the audit")
	// ErrNoName is returned when a change is kept in the audit and nobody says who.
	ErrNoName = errors.New("say who: it is kept in the audit")
)

// History is what is read here.
type History interface {
	File(ctx context.Context, id schemas.FileID) (schemas.File, bool, error)
	// Files returns the files in a state, ascending by the time they were seen.
	Files(ctx context.Context, state schemas.FileState) ([]schemas.File, error)
	// Corrections returns what staff said of a file and its tests, in order.
	Corrections(ctx context.Context, id schemas.FileID) ([]schemas.Correction, error)
}

// Broker is what changes go through.
type Broker interface {
	Publish(ctx context.Context, subject, id string, event any) error
	// File reads the archive.
	File(ctx context.Context, id schemas.FileID, limit int64) (broker.FileMessage, error)
}

// Desk is where files that wait for a hand are seen to. Broker may be nil where
// nothing is changed.
type Desk struct {
	History History
	Broker  Broker
	// Now is the clock; nil is the machine's.
	Now func() time.Time
}

// Choice says which files to list.
type Choice struct {
	// Squad that owns the folder, "" for all.
	Squad string
	// Dropped adds those that staff let go of.
	Dropped bool
}

// Item is a file with what staff said of it.
type Item struct {
	schemas.File
	// Corrections are of the file as a whole, the oldest first.
	Corrections []schemas.Correction `json:"corrections,omitempty"`
	// Archived is whether the archive still has the bytes, nil when nobody looked.
	Archived *bool `json:"archived,omitempty"`
}

// List returns the parked files, the one seen first first.
func (d Desk) List(ctx context.Context, c Choice) ([]Item, error) {
	files, err := d.History.Files(ctx, schemas.FileParked)
	if err != nil {
		return nil, err
	}
	if c.Dropped {
		dropped, err := d.History.Files(ctx, schemas.FileDropped)
		if err != nil {
			return nil, err
		}
		files = append(files, dropped...)
		slices.SortStableFunc(files, func(a, b schemas.File) int { return a.Origin.Seen.Compare(b.Origin.Seen) })
	}
	items := make([]Item, 0, len(files))
	for _, f := range files {
		if c.Squad == "" || f.Origin.Squad == c.Squad {
			items = append(items, Item{File: f})
		}
	}
	return items, nil
}

// Find returns the file of any state whose id begins with prefix. Errors:
// [ErrNoFile], [ErrAmbiguous].
func (d Desk) Find(ctx context.Context, prefix string) (schemas.File, error) {
	prefix = strings.ToLower(strings.TrimSpace(prefix))
	if len(prefix) == len(schemas.NewFileID(nil)) {
		f, ok, err := d.History.File(ctx, schemas.FileID(prefix))
		if err == nil && !ok {
			err = fmt.Errorf("%w: %s", ErrNoFile, prefix)
		}
		return f, err
	}
	if len(prefix) < shortestPrefix {
		return schemas.File{}, fmt.Errorf("%w: %q: give at least %d digits", ErrAmbiguous, prefix, shortestPrefix)
	}
	files, err := d.History.Files(ctx, "")
	if err != nil {
		return schemas.File{}, err
	}
	files = slices.DeleteFunc(files, func(f schemas.File) bool { return !strings.HasPrefix(string(f.ID), prefix) })
	switch len(files) {
	case 0:
		return schemas.File{}, fmt.Errorf("%w: %s", ErrNoFile, prefix)
	case 1:
		return files[0], nil
	default:
		return schemas.File{}, fmt.Errorf("%w: %s begins the ids of %d files: give more digits", ErrAmbiguous, prefix, len(files))
	}
}

// Show returns a file with what staff said of it and, when there is a broker,
// whether its bytes are still there. limit is the largest size worth unpacking.
func (d Desk) Show(ctx context.Context, id schemas.FileID, limit int64) (Item, error) {
	f, ok, err := d.History.File(ctx, id)
	if err != nil {
		return Item{}, err
	}
	if !ok {
		return Item{}, fmt.Errorf("%w: %s", ErrNoFile, id.Short())
	}
	item := Item{File: f}
	cs, err := d.History.Corrections(ctx, id)
	if err != nil {
		return Item{}, err
	}
	for _, c := range cs {
		if c.TestID == "" {
			item.Corrections = append(item.Corrections, c)
		}
	}
	if d.Broker == nil {
		return item, nil
	}
	_, err = d.Broker.File(ctx, id, limit)
	if err != nil && !errors.Is(err, broker.ErrNoFile) && !errors.Is(err, broker.ErrMessage) {
		return Item{}, err
	}
	there := !errors.Is(err, broker.ErrNoFile)
	item.Archived = &there
	return item, nil
}

// Retry asks for a file to be put through again.
type Retry struct {
	File schemas.FileID
	// Athlete says by hand whose it is, "" to go by path, file and sensors. Part
	// is the trace of the file that is meant, "" for the only one in question.
	Athlete, Part string
	// Restore takes back what staff said of the file before.
	Restore bool
	// Who and Why are kept in the audit when the retry changes what holds: an
	// athlete named, a drop or more taken back. Why is needed with Athlete.
	Who, Why string
}

// Retry puts a file through again: what is stored of it then is what the club
// file, the scorer and staff's word say now. A file that was handled is put
// through again as well; that is how a wrong athlete is put right. Errors:
// [ErrNoFile], [ErrNoReason], [ErrNoName].
func (d Desk) Retry(ctx context.Context, r Retry) error {
	f, ok, err := d.History.File(ctx, r.File)
	if err != nil {
		return err
	}
	if !ok {
		return fmt.Errorf("%w: %s", ErrNoFile, r.File.Short())
	}
	now := d.now()
	switch {
	case r.Athlete != "":
		if strings.TrimSpace(r.Why) == "" {
			return ErrNoReason
		}
		return d.correct(ctx, schemas.Correction{FileID: r.File, Action: schemas.ActionAthlete, Part: r.Part, Athlete: r.Athlete, Who: r.Who, Why: r.Why, When: now})
	case r.Restore:
		return d.correct(ctx, schemas.Correction{FileID: r.File, Action: schemas.ActionRestore, Who: r.Who, Why: r.Why, When: now})
	case f.State == schemas.FileDropped:
		return d.correct(ctx, schemas.Correction{FileID: r.File, Action: schemas.ActionRetry, Who: r.Who, Why: r.Why, When: now})
	}
	cause := "retry " + now.Format(time.RFC3339Nano)
	return d.Broker.Publish(ctx, schemas.SubjectRescore+string(r.File), cause+" "+string(r.File), schemas.RescoreEvent{File: r.File, Cause: cause})
}

// Drop lets go of what could not be handled of a parked file: its notice is
// closed and it is not asked about again, whatever changes, until a retry. What
// was scored of it stays. Errors: [ErrNoFile], [ErrState], [ErrNoReason],
// [ErrNoName].
func (d Desk) Drop(ctx context.Context, id schemas.FileID, who, why string) error {
	if strings.TrimSpace(why) == "" {
		return ErrNoReason
	}
	f, ok, err := d.History.File(ctx, id)
	switch {
	case err != nil:
		return err
	case !ok:
		return fmt.Errorf("%w: %s", ErrNoFile, id.Short())
	case f.State != schemas.FileParked:
		return fmt.Errorf("%w: file %s is %s, only a parked file can be dropped", ErrState, id.Short(), f.State)
	}
	return d.correct(ctx, schemas.Correction{FileID: id, Action: schemas.ActionDrop, Who: who, Why: why, When: d.now()})
}

// correct publishes a correction of a file. The scorer writes it down and puts
// the file through again.
func (d Desk) correct(ctx context.Context, c schemas.Correction) error {
	if c.Who, c.Why = strings.TrimSpace(c.Who), strings.TrimSpace(c.Why); c.Who == "" {
		return ErrNoName
	}
	var err error
	if c.ID, err = schemas.NewCorrectionID(c.When); err != nil {
		return err
	}
	return d.Broker.Publish(ctx, schemas.SubjectCorrection+string(c.FileID), c.ID, c)
}

func (d Desk) now() time.Time {
	if d.Now != nil {
		return d.Now().UTC()
	}
	return time.Now().UTC()
}
