package parked_test

import (
	"context"
	"errors"
	"testing"

	"canter.example/cmd/canter/parked"
	"canter.example/schemas"
	"canter.example/schemas/broker"
)

// shelf is a history of one file, and a broker that counts what it is given.
type shelf struct {
	file      schemas.File
	published []any
}

func (s *shelf) File(_ context.Context, id schemas.FileID) (schemas.File, bool, error) {
	return s.file, id == s.file.ID, nil
}

func (s *shelf) Files(context.Context, schemas.FileState) ([]schemas.File, error) {
	return []schemas.File{s.file}, nil
}

func (s *shelf) Corrections(context.Context, schemas.FileID) ([]schemas.Correction, error) {
	return nil, nil
}

func (s *shelf) Publish(_ context.Context, _, _ string, event any) error {
	s.published = append(s.published, event)
	return nil
}

// archive is the shelf as a broker.
type archive struct{ *shelf }

func (archive) File(context.Context, schemas.FileID, int64) (broker.FileMessage, error) {
	return broker.FileMessage{}, nil
}

// TestNothingGoesToTheAuditWithoutAName: whoever takes back a drop, too.
func TestNothingGoesToTheAuditWithoutAName(t *testing.T) {
	s := &shelf{file: schemas.File{ID: schemas.NewFileID([]byte("a")), State: schemas.FileDropped}}
	d := parked.Desk{History: s, Broker: archive{s}}
	for name, r := range map[string]parked.Retry{
		"a drop taken back": {File: s.file.ID, Who: " "},
		"all taken back":    {File: s.file.ID, Restore: true},
		"an athlete named":  {File: s.file.ID, Athlete: "a1", Why: "wore the spare strap"},
	} {
		if err := d.Retry(t.Context(), r); !errors.Is(err, parked.ErrNoName) {
			t.Errorf("%s: %v", name, err)
		}
	}
	s.file.State = schemas.FileParked
	if err := d.Drop(t.Context(), s.file.ID, "", "a guest"); !errors.Is(err, parked.ErrNoName) {
		t.Errorf("a drop: %v", err)
	}
	if len(s.published) != 0 {
		t.Errorf("published %+v", s.published)
	}
	if err := d.Drop(t.Context(), s.file.ID, " K. Moss ", " a guest "); err != nil || len(s.published) != 1 {
		t.Fatalf("%v, published %+v", err, s.published)
	}
	if c, ok := s.published[0].(schemas.Correction); !ok || c.Who != "K. Moss" || c.Why != "a guest" {
		t.Errorf("published %+v", s.published[0])
	}
}
