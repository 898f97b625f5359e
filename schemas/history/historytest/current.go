package historytest

import (
	"bufio"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"canter.example/schemas/history"
)

// CurrentFolder is the environment variable that names another folder than the
// user's cache in which the npm package of a current engine is installed.
const CurrentFolder = "CANTER_CHDB"

// The version of the package is what .ci/needs installs.
//
//go:embed current/version
var currentVersion string

//go:embed current/session.js
var currentSession string

// Current is a ClickHouse engine of a current release, in a process of its own
// that ends with the test: the npm package chdb, which is the engine as a
// library. It speaks SQL and has no port.
type Current struct {
	mu      sync.Mutex
	in      io.WriteCloser
	answers *bufio.Reader
	end     func() error
}

// NewCurrent starts a current engine with an empty database. The test fails when
// the package is not there: sh .ci/needs installs it.
func NewCurrent(tb testing.TB) *Current {
	tb.Helper()
	c, err := OpenCurrent(tb.TempDir())
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := c.Close(); err != nil {
			tb.Error(err)
		}
	})
	return c
}

// OpenCurrent is NewCurrent where there is no test: the engine has its data
// below the folder. The caller closes it.
func OpenCurrent(dir string) (*Current, error) {
	c, err := startCurrent(dir)
	if err != nil {
		return nil, fmt.Errorf("this test needs the npm package chdb, a current ClickHouse engine (sh .ci/needs installs it; another folder: set %s): %w", CurrentFolder, err)
	}
	for _, sql := range []string{"CREATE DATABASE IF NOT EXISTS canter", "USE canter"} {
		if err := c.Exec(sql); err != nil {
			return nil, errors.Join(err, c.Close())
		}
	}
	return c, nil
}

// OpenCurrentAs opens what another engine left in the folder, under an account:
// users is a file of accounts, of which the engine takes the one named default.
func OpenCurrentAs(dir, users string) (*Current, error) {
	config := filepath.Join(dir, "config.xml")
	text := "<clickhouse><users_config>" + users + "</users_config><user_directories><users_xml><path>" + users + "</path></users_xml></user_directories></clickhouse>"
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		return nil, err
	}
	c, err := startCurrent(dir, "--config-file="+config)
	if err != nil {
		return nil, err
	}
	if err := c.Exec("USE canter"); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return c, nil
}

// Close ends the engine.
func (c *Current) Close() error {
	if err := c.end(); err != nil {
		return fmt.Errorf("the current engine ended: %w", err)
	}
	return nil
}

// currentPackage is the folder that holds node_modules with the package.
func currentPackage() (string, error) {
	folder := os.Getenv(CurrentFolder)
	if folder == "" {
		cache, err := os.UserCacheDir()
		if err != nil {
			return "", err
		}
		folder = filepath.Join(cache, "canter", "chdb-"+strings.TrimSpace(currentVersion))
	}
	return folder, nil
}

func startCurrent(data string, args ...string) (*Current, error) {
	folder, err := currentPackage()
	if err != nil {
		return nil, err
	}
	out, answers, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	log := &strings.Builder{}
	cmd := exec.Command("node", append([]string{"-e", currentSession, "--", filepath.Join(data, "chdb")}, args...)...)
	cmd.Dir, cmd.Env = folder, append(os.Environ(), "TZ=UTC")
	cmd.Stdout, cmd.Stderr, cmd.ExtraFiles = log, log, []*os.File{answers}
	c := &Current{answers: bufio.NewReader(out)}
	if c.in, err = cmd.StdinPipe(); err == nil {
		err = cmd.Start()
	}
	if err = errors.Join(err, answers.Close()); err != nil {
		return nil, errors.Join(err, out.Close())
	}
	c.end = func() error {
		err := errors.Join(c.in.Close(), cmd.Wait(), out.Close())
		if err != nil {
			return fmt.Errorf("%w: %s", err, log)
		}
		return nil
	}
	if _, err := c.answer(); err != nil {
		return nil, errors.Join(err, c.end())
	}
	return c, nil
}

// answer reads one answer of the engine.
func (c *Current) answer() (string, error) {
	line, err := c.answers.ReadBytes('\n')
	if err != nil {
		return "", fmt.Errorf("the engine gave no answer: %w", err)
	}
	var a struct{ Out, Error string }
	if err := json.Unmarshal(line, &a); err != nil {
		return "", err
	}
	if a.Error != "" {
		return "", errors.New(a.Error)
	}
	return a.Out, nil
}

// Text runs one statement and returns the answer in the format.
func (c *Current) Text(sql, format string) (string, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if err := json.NewEncoder(c.in).Encode(map[string]string{"sql": sql, "format": format}); err != nil {
		return "", err
	}
	return c.answer()
}

// Exec runs one statement that gives no rows.
func (c *Current) Exec(sql string) error {
	_, err := c.Text(sql, "TSV")
	return err
}

// Query runs one reading statement. Its values are of the kinds that
// [history.Rows] promises.
func (c *Current) Query(sql string) (*history.Rows, error) {
	text, err := c.Text(sql, "JSONCompact")
	if err != nil {
		return nil, err
	}
	var answer struct {
		Meta []struct{ Name, Type string }
		Data [][]any
	}
	d := json.NewDecoder(strings.NewReader(text))
	d.UseNumber()
	if err := d.Decode(&answer); err != nil {
		return nil, err
	}
	rows := &history.Rows{Values: answer.Data}
	for _, m := range answer.Meta {
		rows.Columns = append(rows.Columns, m.Name)
	}
	for _, r := range rows.Values {
		for j, v := range r {
			if r[j], err = currentValue(v, answer.Meta[j].Type); err != nil {
				return nil, fmt.Errorf("%s: %w", rows.Columns[j], err)
			}
		}
	}
	return rows, nil
}

// currentValue turns a value of the engine's JSON into what the native protocol
// and SQLite give for it.
func currentValue(v any, kind string) (any, error) {
	kind = strings.TrimSuffix(strings.TrimPrefix(kind, "Nullable("), ")")
	switch v := v.(type) {
	case json.Number:
		switch {
		case strings.HasPrefix(kind, "UInt"):
			return strconv.ParseUint(v.String(), 10, 64)
		case strings.HasPrefix(kind, "Int"):
			return strconv.ParseInt(v.String(), 10, 64)
		default:
			return v.Float64()
		}
	case string:
		if !strings.HasPrefix(kind, "DateTime") {
			return v, nil
		}
		at, err := time.Parse(time.DateTime, v)
		return at.Format(time.RFC3339), err
	case []any, map[string]any:
		text, err := json.Marshal(v)
		return string(text), err
	default:
		return v, nil
	}
}
