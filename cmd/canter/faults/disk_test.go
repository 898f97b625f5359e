//go:build linux

package faults_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// fill takes all that is left of a file system and returns what gives it back.
func fill(t *testing.T, dir string) (free func()) {
	t.Helper()
	name := filepath.Join(dir, "ballast")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	block := make([]byte, 64<<10)
	for len(block) > 0 {
		if _, err = f.Write(block); err != nil {
			block = block[:len(block)/2] // to the last byte
		}
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("the disk is not full: %v", err)
	}
	_ = f.Close()
	return func() { _ = os.Remove(name) }
}

func testDisk(t *testing.T) {
	const weeks = 6
	fault(t, "disk full", "says that it is not ready; ends rather than going on with a broken store; when there is room again, and it is started again, nothing is lost, doubled or wrongly parked", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		data := filepath.Join(t.TempDir(), "small")
		mount(t, "tmpfs", data, 0, "size=48m")
		r := oneProcess(t, u.season, setup{data: filepath.Join(data, "canter")}).start()
		p := r.serves[0]
		files := all(u.season)
		r.drop(files[:len(files)/3]...)
		time.Sleep(300 * time.Millisecond)
		free := fill(t, data)
		r.drop(files[len(files)/3 : 2*len(files)/3]...)
		notReady := false
		for deadline := time.Now().Add(form(30*time.Second, 60*time.Second)); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
			if p.revive() {
				notReady = true // it ended, and its manager starts it again
			}
			if code, _ := p.get("/readyz"); code != 200 {
				notReady = true
			}
		}
		if !notReady {
			t.Error("with its disk full the service says that it is ready")
		}
		free()
		r.drop(files[2*len(files)/3:]...)
		r.settled(3 * time.Minute)
		return fmt.Sprintf("the data folder on a file system of 48 MB, filled to the last byte for %s with work in hand, then freed; started again %d times by its manager", form(30*time.Second, 60*time.Second), p.starts-1), r.sound(u)
	})
}

// testPower does what a process can do about power loss: it takes from the
// stores what had not reached the disk.
func testPower(t *testing.T) {
	const weeks = 6
	fault(t, "power loss: the archive's last second is gone", "files found again in their folders, the same results, nobody told twice", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := oneProcess(t, u.season, setup{}).start()
		files := all(u.season)
		r.drop(files[:len(files)/2]...)
		time.Sleep(time.Second)
		r.serves[0].kill()
		lost := cutTails(t, filepath.Join(r.data, "broker"))
		r.serves[0].start()
		r.drop(files[len(files)/2:]...)
		r.settled(3 * time.Minute)
		return fmt.Sprintf("killed with work in hand; a third cut off the last block of each of %d stream stores, their indexes deleted", lost), r.sound(u)
	})
	fault(t, "the whole broker is lost", "made anew from the folders: the same results, nobody told twice", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := oneProcess(t, u.season, setup{}).start()
		r.drop(all(u.season)...)
		r.settled(2 * time.Minute)
		r.serves[0].kill()
		if err := os.RemoveAll(filepath.Join(r.data, "broker")); err != nil {
			t.Fatal(err)
		}
		r.serves[0].start()
		r.serves[0].waitReady()
		r.settled(2 * time.Minute)
		return "killed, the broker's folder deleted, started again", r.sound(u)
	})
	fault(t, "power loss: the history's last rows are gone", "canter replay --missing puts through again what history does not have; the same results", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := apart(t, u.season, setup{}).start()
		r.drop(all(u.season)...)
		r.settled(2 * time.Minute)
		n := r.loseRows()
		out := r.canter("replay", "--missing", "--nats", r.broker.URL, "--history", r.history)
		if !strings.Contains(out, fmt.Sprintf("%d files put through again", n)) {
			t.Errorf("replay says: %s", out)
		}
		r.settled(2 * time.Minute)
		return fmt.Sprintf("ClickHouse 18.16 acknowledges before the disk has it: the rows of %d files and their tests deleted, as a power loss may", n), r.sound(u)
	})
}

// cutTails cuts a third off the newest block of every stream and takes the
// indexes away: what a file system may give back after a power loss. It returns
// how many streams were cut.
func cutTails(t *testing.T, dir string) (n int) {
	t.Helper()
	newest := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		switch filepath.Ext(path) {
		case ".blk":
			if path > newest[filepath.Dir(path)] {
				newest[filepath.Dir(path)] = path
			}
		case ".idx", ".db":
			if strings.Contains(path, "/msgs/") {
				return os.Remove(path)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range newest {
		info, err := os.Stat(path)
		if err == nil && info.Size() > 0 {
			err = os.Truncate(path, info.Size()*2/3)
			n++
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if n == 0 {
		t.Fatal("no stream has a block to cut: the store looks otherwise than this test knows")
	}
	return n
}

// loseRows deletes the rows of every fifth file from ClickHouse.
func (r *rig) loseRows() int {
	r.t.Helper()
	rows := r.ask("SELECT file_id FROM files ORDER BY file_id")
	var ids []string
	for i := 0; i < len(rows); i += 5 {
		ids = append(ids, "'"+rows[i][0]+"'")
	}
	for _, table := range []string{"stored_file_writes", "stored_tests", "stored_session_tests", "stored_traces", "stored_loads", "stored_series"} {
		r.exec(fmt.Sprintf("ALTER TABLE %s DELETE WHERE file_id IN (%s)", table, strings.Join(ids, ", ")))
	}
	eventually(r.t, "the rows are gone", time.Minute, func() bool { return r.files() == len(rows)-len(ids) })
	return len(ids)
}
