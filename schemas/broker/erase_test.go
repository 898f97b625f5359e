package broker_test

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"canter.example/schemas"
	"canter.example/schemas/broker"
)

func TestADeletedFileIsGone(t *testing.T) {
	each(t, func(t *testing.T, b *broker.Broker) {
		ctx := t.Context()
		f, other := fileOf("heart rates of one who is to be forgotten"), fileOf("heart rates of somebody else")
		for _, m := range []broker.FileMessage{f, other} {
			if _, err := b.PublishFile(ctx, m); err != nil {
				t.Fatal(err)
			}
		}
		for _, place := range []string{"a", "b"} {
			o := schemas.Origin{Folder: "/in", Path: place}
			if _, err := b.PublishOnce(ctx, schemas.SubjectOrigin+string(f.ID)+"."+schemas.PathToken(o), schemas.OriginEvent{File: f.ID, Origin: o}); err != nil {
				t.Fatal(err)
			}
		}
		for _, want := range []int{4, 0} { // the second time there is nothing left to do
			n, err := b.DeleteFile(ctx, f.ID)
			if err != nil || n != want {
				t.Errorf("deleted %d messages, err %v", n, err)
			}
		}
		if _, err := b.File(ctx, f.ID, limit); !errors.Is(err, broker.ErrNoFile) {
			t.Errorf("the file can still be read: %v", err)
		}
		if _, err := b.File(ctx, other.ID, limit); err != nil {
			t.Errorf("the other file: %v", err)
		}
	})
}

// What is deleted is not on the disk either.
func TestADeletedFileIsOverwritten(t *testing.T) {
	dir := t.TempDir()
	b, err := broker.Open(t.Context(), broker.Config{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	const mark = "inbox/first/forget-me.fit"
	f := fileOf("heart rates")
	f.Origin.Path = mark
	if _, err := b.PublishFile(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	b.Close()
	if !onDisk(t, dir, mark) {
		t.Fatal("this test looks in the wrong place: the file is not on the disk before it is deleted")
	}
	if b, err = broker.Open(t.Context(), broker.Config{Dir: dir}); err != nil {
		t.Fatal(err)
	}
	if _, err := b.DeleteFile(t.Context(), f.ID); err != nil {
		t.Fatal(err)
	}
	b.Close()
	if onDisk(t, dir, mark) {
		t.Error("the bytes are still on the disk")
	}
}

func onDisk(t *testing.T, dir, mark string) bool {
	t.Helper()
	found := false
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		found = found || bytes.Contains(b, []byte(mark))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}
