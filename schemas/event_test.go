package schemas_test

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"canter.example/schemas"
)

func instants() *rapid.Generator[time.Time] {
	return rapid.Custom(func(t *rapid.T) time.Time {
		return time.UnixMilli(rapid.Int64Range(0, 4e12).Draw(t, "ms")).UTC()
	})
}

func origins() *rapid.Generator[schemas.Origin] {
	return rapid.Custom(func(t *rapid.T) schemas.Origin {
		return schemas.Origin{
			Folder: rapid.String().Draw(t, "folder"), Path: rapid.String().Draw(t, "path"), Squad: rapid.String().Draw(t, "squad"),
			Modified: instants().Draw(t, "modified"), Seen: instants().Draw(t, "seen"),
		}
	})
}

func testIDs(t *rapid.T, label string) []schemas.TestID {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) schemas.TestID { return schemas.TestID(rapid.StringN(1, 9, -1).Draw(t, "id")) }), 1, 4).Draw(t, label)
}

// events draws one of each kind.
func events() *rapid.Generator[any] {
	return rapid.Custom(func(t *rapid.T) any {
		id := schemas.FileID(rapid.String().Draw(t, "file"))
		switch rapid.IntRange(0, 5).Draw(t, "kind") {
		case 0:
			return schemas.OriginEvent{File: id, Origin: origins().Draw(t, "origin")}
		case 1:
			return schemas.RescoreEvent{File: id, Cause: rapid.String().Draw(t, "cause")}
		case 2:
			return schemas.TestEvent{File: id, Athlete: rapid.String().Draw(t, "athlete"), Tests: testIDs(t, "tests"), Gone: testIDs(t, "gone")}
		case 3:
			return schemas.ParkedEvent{File: schemas.File{
				ID: id, Origin: origins().Draw(t, "origin"), Size: rapid.Int64().Draw(t, "size"), State: schemas.FileParked,
				Reason: rapid.String().Draw(t, "reason"), Version: schemas.Version(rapid.Uint64().Draw(t, "version")),
			}}
		case 4:
			return schemas.ChatEvent{Message: rapid.String().Draw(t, "message")}
		default:
			return schemas.Correction{
				ID: rapid.String().Draw(t, "id"), TestID: "t1", FileID: id, Action: schemas.ActionStart,
				Start: instants().Draw(t, "start"), Who: rapid.String().Draw(t, "who"), When: instants().Draw(t, "when"), Why: rapid.String().Draw(t, "why"),
			}
		}
	})
}

// decodeAs decodes into a new value of the type of like.
func decodeAs(b []byte, like any) (any, error) {
	p := reflect.New(reflect.TypeOf(like))
	err := schemas.DecodeEvent(b, p.Interface())
	return p.Elem().Interface(), err
}

func TestEventsComeBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		want := events().Draw(rt, "event")
		b, err := schemas.EncodeEvent(want)
		if err != nil {
			rt.Fatal(err)
		}
		got, err := decodeAs(b, want)
		if err != nil || !reflect.DeepEqual(got, want) {
			rt.Fatalf("%+v came back as %+v, %v", want, got, err)
		}
		other := any(schemas.ChatEvent{})
		if reflect.TypeOf(want) == reflect.TypeOf(other) {
			other = schemas.RescoreEvent{}
		}
		if _, err := decodeAs(b, other); !errors.Is(err, schemas.ErrEvent) {
			rt.Fatalf("a %T was read as a %T: %v", want, other, err)
		}
	})
}

func TestWhatIsNoEventIsRefused(t *testing.T) {
	for text, say := range map[string]string{
		``:     "EOF",
		`{`:    "EOF",
		`null`: "format 0",
		`{"format":1,"kind":"chat","event":{"message":"m"}} x`:           "after the end",
		`{"format":2,"kind":"chat","event":{"message":"m"}}`:             "upgrade",
		`{"format":1,"kind":"test","event":{"file":"f"}}`:                `kind "test"`,
		`{"format":1,"kind":"chat","event":{"message":1}}`:               "chat",
		`{"format":1,"kind":"chat"}`:                                     "chat",
		`{"format":1,"kind":"chat","event":{"message":"m"},"more":true}`: "more",
	} {
		var e schemas.ChatEvent
		if err := schemas.DecodeEvent([]byte(text), &e); !errors.Is(err, schemas.ErrEvent) || !strings.Contains(fmt.Sprint(err), say) {
			t.Errorf("%s: %v, want a word of %q", text, err, say)
		}
	}
	if _, err := schemas.EncodeEvent(struct{}{}); err == nil {
		t.Error("a struct of no kind was encoded")
	}
	if err := schemas.DecodeEvent([]byte(`{}`), new(int)); err == nil || errors.Is(err, schemas.ErrEvent) {
		t.Errorf("a destination of no kind: %v", err)
	}
}

// FuzzDecodeEvent: any bytes are an event that comes back, or ErrEvent.
func FuzzDecodeEvent(f *testing.F) {
	for _, e := range []any{
		schemas.OriginEvent{File: "f"}, schemas.RescoreEvent{File: "f", Cause: "c"}, schemas.TestEvent{File: "f", Tests: []schemas.TestID{"t"}},
		schemas.ParkedEvent{File: schemas.File{ID: "f"}}, schemas.ChatEvent{Message: "m"}, schemas.Correction{ID: "c"},
	} {
		b, err := schemas.EncodeEvent(e)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	kinds := []any{schemas.OriginEvent{}, schemas.RescoreEvent{}, schemas.TestEvent{}, schemas.ParkedEvent{}, schemas.ChatEvent{}, schemas.Correction{}}
	f.Fuzz(func(t *testing.T, b []byte) {
		read := 0
		for _, like := range kinds {
			e, err := decodeAs(b, like)
			if err != nil {
				if !errors.Is(err, schemas.ErrEvent) {
					t.Errorf("%T: %v is no ErrEvent", like, err)
				}
				continue
			}
			read++
			again, err := schemas.EncodeEvent(e)
			if err != nil { // a year that RFC 3339 can't write
				continue
			}
			back, err := decodeAs(again, like)
			if err != nil {
				t.Errorf("%s was read, written as %s, and not read again: %v", b, again, err)
			}
			twice, err := schemas.EncodeEvent(back)
			if err != nil || string(twice) != string(again) {
				t.Errorf("written again it differs: %s, %s, %v", again, twice, err)
			}
		}
		if read > 1 {
			t.Errorf("%s is of %d kinds", b, read)
		}
	})
}
