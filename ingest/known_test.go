package ingest_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"canter.example/schemas"
)

// A file outlives its time in the archive: it lies in its folder for years.
// Taken anew at the next start, health data would be kept for as long as
// nobody clears the folder.
func TestAFileWhoseTimeInTheArchiveIsOverStaysOut(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	const old, other, late = "time,hr\n0,100\n", "time,hr\n0,101\n", "time,hr\n0,102\n"
	r.write("AKI.csv", old)
	r.archived(1)
	r.stop()
	if _, err := r.broker.DeleteFile(t.Context(), schemas.NewFileID([]byte(old))); err != nil {
		t.Fatal(err)
	}
	r.write("BEN.csv", other) // shows that the folder was gone through
	r.start(nil)
	if files := r.archived(1); !files[schemas.NewFileID([]byte(other))] {
		t.Fatalf("the old file came back: %v", files)
	}
	// Somebody puts it there once more, on purpose.
	now := time.Now().Add(time.Second)
	if err := os.Chtimes(filepath.Join(r.dir, "AKI.csv"), now, now); err != nil {
		t.Fatal(err)
	}
	r.archived(2)
	if n := r.places(); n != 0 {
		t.Errorf("%d further places", n)
	}
	// The same while the service runs, and the archive drops it meanwhile.
	if _, err := r.broker.DeleteFile(t.Context(), schemas.NewFileID([]byte(old))); err != nil {
		t.Fatal(err)
	}
	now = now.Add(time.Second)
	if err := os.Chtimes(filepath.Join(r.dir, "AKI.csv"), now, now); err != nil {
		t.Fatal(err)
	}
	r.write("CEM.csv", late)
	r.archived(3)
}

// An archive from before files were remembered is caught up with.
func TestFilesOfAnOldArchiveAreRemembered(t *testing.T) {
	r := newRig(t, t.TempDir(), nil)
	r.write("AKI.csv", "time,hr\n0,100\n")
	r.archived(1)
	r.stop()
	if err := r.broker.Rewind(t.Context()); err != nil { // forgets
		t.Fatal(err)
	}
	r.start(nil)
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		a, err := r.broker.Archived(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if len(a.Known) == 1 && len(a.Files) == 1 {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("remembered: %v", a.Known)
		}
	}
}
