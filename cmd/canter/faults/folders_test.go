//go:build linux

package faults_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"canter.example/cmd/canter/season"
	"canter.example/schemas"
)

func testFolders(t *testing.T) {
	const weeks = 6
	fault(t, "folder that may only be read", "files are taken all the same, nothing in the folder is touched", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := oneProcess(t, u.season, setup{})
		inbox := filepath.Join(r.dir, "inbox")
		mount(t, "tmpfs", inbox, 0, "size=64m")
		for _, sub := range []string{"first", "second"} {
			if err := os.Mkdir(filepath.Join(inbox, sub), 0o755); err != nil {
				t.Fatal(err)
			}
		}
		r.drop(all(u.season)...)
		mount(t, "tmpfs", inbox, syscall.MS_REMOUNT|syscall.MS_RDONLY, "size=64m")
		if err := os.WriteFile(filepath.Join(inbox, "x"), nil, 0o600); !errors.Is(err, syscall.EROFS) {
			t.Fatalf("the folder can be written to: %v", err)
		}
		r.start()
		r.settled(2 * time.Minute)
		return "the watched folders on a file system mounted read-only", r.sound(u)
	})
	fault(t, "folder that goes away and comes back", "not ready meanwhile, files are taken when it is back, none twice", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := oneProcess(t, u.season, setup{}).start()
		files := all(u.season)
		r.drop(files[:len(files)/2]...)
		inbox, away := filepath.Join(r.dir, "inbox"), filepath.Join(r.dir, "away")
		if err := os.Rename(inbox, away); err != nil {
			t.Fatal(err)
		}
		eventually(t, "says that the folder is missing", 10*time.Second, func() bool {
			code, body := r.serves[0].get("/readyz")
			return code == 503 && strings.Contains(body, "inbox")
		})
		if err := os.Rename(away, inbox); err != nil {
			t.Fatal(err)
		}
		r.drop(files[len(files)/2:]...)
		r.settled(2 * time.Minute)
		return "the watched folders renamed away with files unread, and back", r.sound(u)
	})
	fault(t, "network share that sends no events", "the rescan finds every file", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := oneProcess(t, u.season, setup{})
		// In a user namespace of its own that may have no inotify instance.
		r.serves[0].wrap = []string{"unshare", "--user", "--map-root-user", "sh", "-c", `echo 0 > /proc/sys/user/max_inotify_instances && exec "$@"`, "sh"}
		r.start()
		// Ready may be said a moment before the watcher asks for events.
		eventually(t, "goes without filesystem events", 10*time.Second, func() bool { return r.serves[0].log.has("no filesystem events") })
		files := all(u.season)
		r.drop(files[:len(files)/2]...)
		time.Sleep(2 * time.Second)
		r.drop(files[len(files)/2:]...)
		r.settled(2 * time.Minute)
		return "inotify forbidden to the process (as good as a share without events); rescan every second", r.sound(u)
	})
	fault(t, "files still being written", "no file is taken before it is whole: each content once", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := oneProcess(t, u.season, setup{}).start()
		n := r.writeSlowly(all(u.season))
		r.settled(2 * time.Minute)
		if got := r.ask("SELECT count(*) FROM files")[0][0]; number(got) != int64(len(r.dropped)) {
			t.Errorf("%s files in history, %d were dropped: parts were taken for files", got, len(r.dropped))
		}
		return fmt.Sprintf("%d grew in three pieces, longer than the settle time apart; %d came under another name and were renamed; %d were replaced by another file's bytes first", n[0], n[1], n[2]), r.sound(u)
	})
	fault(t, "same file twice, two files of one name", "a copy is the same file; another content of the same name is another file", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := oneProcess(t, u.season, setup{}).start()
		files := all(u.season)
		r.drop(files...)
		for _, f := range files[:20] {
			copied := f
			copied.Path = strings.TrimSuffix(f.Path, filepath.Ext(f.Path)) + " (1)" + filepath.Ext(f.Path)
			r.drop(copied)
		}
		r.settled(2 * time.Minute)
		overwritten := r.overwrite()
		r.settled(2 * time.Minute)
		return fmt.Sprintf("20 files copied beside themselves; %d different files under one name, one after the other", overwritten), r.soundBut(u, "one-name")
	})
	fault(t, "many files at once", "all are handled; memory is below 200 MiB then", testMany)
}

// mount mounts a file system that goes with the test.
func mount(t *testing.T, kind, dir string, flags uintptr, data string) {
	t.Helper()
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount(kind, dir, kind, flags, data); err != nil {
		t.Fatalf("mount %s: %v: these faults need a user who may mount (root in a container of its own will do)", kind, err)
	}
	if flags&syscall.MS_REMOUNT == 0 {
		t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	}
}

// writeSlowly writes files as slow or careful programs do, and returns how many
// in each way. What is read of a file that is replaced later is dropped, too.
func (r *rig) writeSlowly(files []season.File) (n [3]int) {
	r.t.Helper()
	write := func(path string, b []byte, flag int) {
		f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|flag, 0o644)
		if err == nil {
			_, err = f.Write(b)
			err = errors.Join(err, f.Close())
		}
		if err != nil {
			r.t.Fatal(err)
		}
	}
	var slow []season.File
	for i, f := range files {
		path := filepath.Join(r.dir, filepath.FromSlash(f.Path))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			r.t.Fatal(err)
		}
		// CSV does not say where it ends: only quiet tells, so it may not pause.
		knowsItsEnd := !bytes.HasPrefix(f.Content, []byte("PK")) && filepath.Ext(f.Path) != ".csv"
		switch {
		case i%3 == 0 && knowsItsEnd:
			slow = append(slow, f)
			write(path, f.Content[:len(f.Content)/3], os.O_TRUNC)
			n[0]++
		case i%3 == 1:
			write(path+".part", f.Content[:len(f.Content)/2], os.O_TRUNC)
			write(path+".part", f.Content[len(f.Content)/2:], os.O_APPEND)
			if err := os.Rename(path+".part", path); err != nil {
				r.t.Fatal(err)
			}
			n[1]++
		default:
			write(path, files[(i+1)%len(files)].Content, os.O_TRUNC)
			write(path, f.Content, os.O_TRUNC) // at once: the first was never quiet
			n[2]++
		}
		r.dropped[schemas.NewFileID(f.Content)] = true
	}
	for piece := 1; piece < 3; piece++ {
		time.Sleep(250 * time.Millisecond) // more than the settle time
		for _, f := range slow {
			from, to := len(f.Content)*piece/3, len(f.Content)*(piece+1)/3
			write(filepath.Join(r.dir, filepath.FromSlash(f.Path)), f.Content[from:to], os.O_APPEND)
		}
	}
	return n
}

// overwrite puts different files, one after the other, under one name, and
// returns how many.
func (r *rig) overwrite() int {
	r.t.Helper()
	const n = 4
	for i := range n {
		r.drop(season.File{Path: "inbox/first/one-name.csv", Content: fmt.Appendf(nil, "time,hr\n0,%d\n1,%d\n", 100+i, 101+i)})
		r.settled(time.Minute)
	}
	if got := r.ask("SELECT count(*) FROM files WHERE path = 'one-name.csv'")[0][0]; got != fmt.Sprint(n) {
		r.t.Errorf("%s files of one name in history, want %d", got, n)
	}
	return n
}

// mondayOf returns how many days after the first of August its first Monday is.
func mondayOf(year int) int {
	return (8 - int(time.Date(year, 8, 1, 0, 0, 0, 0, time.UTC).Weekday())) % 7
}

// testMany drops thousands of files in one go: years of seasons.
func testMany(t *testing.T) (string, string) {
	many := form(1000, 10_000)
	s := newSeason(t, 52)
	// Old seasons are recorded, not told: nobody wants years of messages.
	r := oneProcess(t, s, setup{yaml: []string{"tell_within: 36500d", "tell_within: 7d"}}).start()
	for year := 0; len(r.dropped) < many; year++ {
		// The same people in another year.
		s, err := season.New(season.Options{Weeks: 52, Athletes: athletes, Start: time.Date(2024-year, 8, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, mondayOf(2024-year))})
		if err != nil {
			t.Fatal(err)
		}
		files := all(s)
		r.drop(files[:min(len(files), many-len(r.dropped))]...)
	}
	began := time.Now()
	r.settled(form(4*time.Minute, 30*time.Minute))
	took := time.Since(began)
	peak, now := r.serves[0].kilobytes("VmHWM"), r.serves[0].kilobytes("VmRSS")
	if now == 0 || now > 200<<10 {
		t.Errorf("memory is %d KiB", now)
	}
	if got := r.files(); got != len(r.dropped) {
		t.Errorf("%d files in history, want %d", got, len(r.dropped))
	}
	if rows := r.ask("SELECT path, reason FROM files WHERE state = 'parked' AND path NOT LIKE '%GUEST%'"); len(rows) > 0 {
		t.Errorf("%d parked, the first: %v", len(rows), rows[0])
	}
	states := ""
	for _, row := range r.ask("SELECT state, count(*) FROM files GROUP BY state ORDER BY state") {
		states += fmt.Sprintf("%s %s, ", row[1], row[0])
	}
	return fmt.Sprintf("%d files in the folders within seconds", len(r.dropped)),
		fmt.Sprintf("%sin %s; memory %d MiB then, %d MiB at most", states, took.Round(time.Second), now>>10, peak>>10)
}
