package judge

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Line is what the program says of one test, as its JSON form has it.
type Line struct {
	File       string     `json:"file"`
	Start      *time.Time `json:"start"`
	Source     string     `json:"start_source"`
	Confidence *float64   `json:"start_confidence"`
	HRex       *float64   `json:"hrex_bpm"`
	HRR        *float64   `json:"hrr_bpm"`
	Quality    string     `json:"quality"`
	Reasons    []string   `json:"reasons"`
}

// Trial runs the program over sessions.
type Trial struct {
	Bin string // the program
	Dir string // an empty folder for the files; each is removed once scored
	// Refused are the lines that the program wrote to standard error.
	Refused []string
}

// Run scores sessions first to last of the seed. Sessions that can share one
// call (the same form, HRmax, and help) do, 250 at a time are on disk.
func (t *Trial) Run(ctx context.Context, seed uint64, first, count int) ([]Result, error) {
	if err := os.WriteFile(filepath.Join(t.Dir, "club.yaml"), []byte(clubFile), 0o600); err != nil {
		return nil, fmt.Errorf("write club file: %w", err)
	}
	var out []Result
	var some []*Session
	for i := first; i < first+count; i++ {
		some = append(some, Make(seed, i))
		if len(some) == 250 || i == first+count-1 {
			rs, err := t.score(ctx, some)
			if err != nil {
				return nil, err
			}
			out = append(out, rs...)
			some = some[:0]
		}
	}
	return out, nil
}

// score writes the files of some sessions, has them scored and compares.
func (t *Trial) score(ctx context.Context, some []*Session) ([]Result, error) {
	calls := make(map[string][]*Session)
	for _, s := range some {
		key := strings.Join(s.args(t.Dir), "\x00")
		calls[key] = append(calls[key], s)
	}
	answers := make(map[string][]Line)
	for key, ss := range calls {
		if err := t.call(ctx, strings.Split(key, "\x00"), ss, answers); err != nil {
			return nil, err
		}
	}
	out := make([]Result, 0, len(some))
	for _, s := range some {
		out = append(out, compare(s, answers[s.name()]))
	}
	return out, nil
}

// args are the program's options for the session.
func (s *Session) args(dir string) []string {
	args := []string{"score", "--format", "json", "--zone", "UTC", "--recovery", "60s", "--hrmax", fmt.Sprint(s.Body.HRmax)}
	for _, a := range s.Form.Args {
		if a == "--protocol" {
			args = append(args, "--club", filepath.Join(dir, "club.yaml"))
		}
		args = append(args, a)
	}
	if s.Manner == Planned {
		args = append(args, "--around", plannedAt.Format(time.RFC3339), "--within", s.Form.Within)
	}
	return args
}

func (s *Session) name() string { return fmt.Sprintf("f%05d.%s", s.Index, s.Format) }

// call runs the program once over the sessions' files. That it exits with an
// error because it refuses a file is an answer too.
func (t *Trial) call(ctx context.Context, args []string, ss []*Session, answers map[string][]Line) error {
	for _, s := range ss {
		b, err := s.bytes()
		if err != nil {
			return fmt.Errorf("session %d: %w", s.Index, err)
		}
		path := filepath.Join(t.Dir, s.name())
		if err := os.WriteFile(path, b, 0o600); err != nil {
			return fmt.Errorf("write session %d: %w", s.Index, err)
		}
		defer func() { _ = os.Remove(path) }()
		args = append(args, path)
	}
	cmd := exec.CommandContext(ctx, t.Bin, args...)
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		return fmt.Errorf("run %s: %w", t.Bin, err)
	}
	if err != nil && stdout.Len() == 0 && len(ss) > 1 {
		return fmt.Errorf("%s says nothing of %d files: %s", t.Bin, len(ss), stderr.String())
	}
	for line := range strings.Lines(stderr.String()) {
		t.Refused = append(t.Refused, strings.ReplaceAll(strings.TrimSpace(line), t.Dir+"/", ""))
	}
	return readLines(&stdout, answers)
}

func readLines(stdout *bytes.Buffer, answers map[string][]Line) error {
	sc := bufio.NewScanner(stdout)
	sc.Buffer(nil, 1<<20)
	for sc.Scan() {
		var l Line
		if err := json.Unmarshal(sc.Bytes(), &l); err != nil {
			return fmt.Errorf("the program's answer %q: %w", sc.Text(), err)
		}
		if !slices.Contains([]string{"good", "check", "reject"}, l.Quality) {
			return fmt.Errorf("the program's answer %q has an unknown quality", sc.Text())
		}
		name := filepath.Base(l.File)
		answers[name] = append(answers[name], l)
	}
	return sc.Err()
}
