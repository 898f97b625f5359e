//go:build linux

package faults_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

var (
	update = flag.Bool("update", false, "write the fault table to deploy/FAULTS.md")
	// program is the canter binary under test.
	program string
	// Which faults there are, and for how long: "" is what CI runs, "short" all
	// of them briefly, "long" all of them at length.
	which = os.Getenv("CANTER_FAULTS")
	long  = which == "long"
	seed  = uint64(time.Now().UnixNano())
)

func TestMain(m *testing.M) {
	flag.Parse()
	os.Exit(run(m))
}

func run(m *testing.M) int {
	if s := os.Getenv("CANTER_SEED"); s != "" {
		n, err := strconv.ParseUint(s, 10, 64)
		if err != nil {
			fmt.Fprintln(os.Stderr, "CANTER_SEED:", err)
			return 1
		}
		seed = n
	}
	dir, err := os.MkdirTemp("", "canter-faults-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer func() { _ = os.RemoveAll(dir) }()
	program = filepath.Join(dir, "canter")
	if out, err := exec.Command("go", "build", "-o", program, "canter.example/cmd/canter").CombinedOutput(); err != nil {
		fmt.Fprintf(os.Stderr, "build canter: %v\n%s", err, out)
		return 1
	}
	return m.Run()
}

// chance returns random numbers for one fault, the same for the same seed.
func chance(t *testing.T) *rand.Rand {
	t.Helper()
	t.Logf("seed %d (CANTER_SEED repeats it)", seed)
	var n uint64
	for _, c := range t.Name() {
		n = n*31 + uint64(c)
	}
	return rand.New(rand.NewPCG(seed, n))
}

// load is what else the machine had to do in the last five minutes: how many
// processes wanted a core.
func load() string {
	b, err := os.ReadFile("/proc/loadavg")
	f := strings.Fields(string(b))
	if err != nil || len(f) < 2 {
		return "unknown"
	}
	return f[1]
}

// form chooses between the short and the long form of a number.
func form[T any](short, longer T) T {
	if long {
		return longer
	}
	return short
}

// row is one fault of the table.
type row struct{ fault, done, promised, seen, when string }

var (
	tableMu sync.Mutex
	table   []row
)

// inCI are the faults that CI runs: each kind once, in about two minutes.
var inCI = []string{
	"kill -9, one process", "kill -9, a process a role", "broker down and back", "history down and back",
	"chat fails after it has posted", "network share that sends no events", "files still being written",
	"same file twice, two files of one name", "clock jumps", "the whole broker is lost",
}

// fault runs one fault as a subtest, when it is among those asked for, and adds
// its row. do returns what was done
// and what was seen; when it fails the test, the row says so.
func fault(t *testing.T, name, promised string, do func(t *testing.T) (done, seen string)) {
	t.Helper()
	if which == "" && !slices.Contains(inCI, name) {
		return
	}
	t.Run(name, func(t *testing.T) {
		r := row{fault: name, promised: promised, seen: "FAILED: see the log"}
		defer func() {
			tableMu.Lock()
			defer tableMu.Unlock()
			table = append(table, r)
		}()
		begin := time.Now()
		done, seen := do(t)
		r.done = done
		r.when = fmt.Sprintf("%s, %s, %s, load %s", begin.Format(time.DateOnly), form("short", "long"), time.Since(begin).Round(time.Second), load())
		if !t.Failed() {
			r.seen = seen
		}
	})
}
