package alerts_test

import (
	"fmt"
	"strings"
	"testing"

	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/broker"
)

// park stores files as the scorer does when it can't handle them, and returns
// their events.
func (st *stage) park(from, to int) (events []*broker.Delivery) {
	st.t.Helper()
	for i := from; i < to; i++ {
		f := schemas.File{
			ID: schemas.NewFileID(fmt.Append(nil, i)), Origin: schemas.Origin{Path: fmt.Sprintf("who-%02d.fit", i), Squad: "first", Seen: week(1)},
			State: schemas.FileParked, Reason: "nobody is called \"who\"", Version: schemas.Version(5 + i),
		}
		if err := st.history.SaveFile(st.t.Context(), f, nil, nil); err != nil {
			st.t.Fatal(err)
		}
		b, err := schemas.EncodeEvent(schemas.ParkedEvent{File: f})
		if err != nil {
			st.t.Fatal(err)
		}
		events = append(events, &broker.Delivery{Subject: schemas.SubjectParked + string(f.ID), Data: b, Version: f.Version})
	}
	return events
}

func TestAParkedFileIsToldOnceAndClosedWhenItIsRead(t *testing.T) {
	st := newStage(t)
	d := st.park(0, 1)[0]
	for range 2 {
		st.handle(d)
	}
	posts := st.wantPosts(1)
	if !strings.Contains(posts[0].Plain(), "who-00.fit") {
		t.Errorf("the message does not name the file:\n%s", posts[0].Plain())
	}
	id := schemas.FileID(strings.TrimPrefix(d.Subject, schemas.SubjectParked))
	st.version = 900
	st.handle(st.event(schemas.TestEvent{File: id}))
	al, _, err := st.history.Alert(t.Context(), schemas.NewAlertID(rules.FamilyParked, string(id)))
	if err != nil || al.State != schemas.AlertClosed {
		t.Errorf("alert %+v, %v", al, err)
	}
	st.wantPosts(1)
}

// A phone's folder of recordings that are nobody's must not be one message each.
func TestFilesParkedTogetherAreOneMessage(t *testing.T) {
	st := newStage(t)
	all := st.park(0, 12)
	for _, d := range all[:11] {
		if err := st.s.Handle(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	st.handle(all[11])
	posts := st.wantPosts(1)
	text := posts[0].Plain()
	if !strings.Contains(text, "12 heart-rate files set aside (parked)") || !strings.Contains(text, "who-09.fit") || !strings.Contains(text, "and 2 more") {
		t.Errorf("message:\n%s", text)
	}
	// Parked once more, after a retry that did not help: staff know.
	for _, d := range all {
		d.Version += 100
		st.handle(d)
	}
	st.wantPosts(1)
	// One that comes later is told by itself.
	st.handle(st.park(12, 13)[0])
	posts = st.wantPosts(2)
	if text := posts[1].Plain(); !strings.Contains(text, "who-12.fit") || strings.Contains(text, "who-11.fit") {
		t.Errorf("message:\n%s", text)
	}
}

// A file that was handled by the time its turn came is not told.
func TestAFileThatIsMendedBeforeItIsToldIsNotTold(t *testing.T) {
	st := newStage(t)
	d := st.park(0, 1)[0]
	if err := st.s.Handle(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	f, _, err := st.history.File(t.Context(), schemas.FileID(strings.TrimPrefix(d.Subject, schemas.SubjectParked)))
	if err != nil {
		t.Fatal(err)
	}
	f.State, f.Version = schemas.FileDropped, 99
	if err := st.history.SaveFile(t.Context(), f, nil, nil); err != nil {
		t.Fatal(err)
	}
	st.version = 900
	st.handle(st.event(schemas.TestEvent{File: f.ID}))
	st.wantPosts(0)
}
