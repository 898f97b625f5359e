package scale

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"time"
)

// bareTables are those that a test has rows in, with what chooses the rows of
// tests since a time in milliseconds, in the order in which they were written.
var bareTables = []struct{ name, since string }{
	{"stored_file_writes", "seen_ms >= %d ORDER BY seen_ms"},
	{"stored_tests", "start_ms >= %d ORDER BY version"},
	{"stored_session_tests", "start_ms >= %d ORDER BY start_ms"},
	{"stored_traces", "test_id IN (SELECT test_id FROM stored_tests WHERE start_ms >= %d) ORDER BY write_id"},
}

// Bare is the insert of the same rows by the server's own client.
type Bare struct{ Tests rate }

// BareInsert gives the rows of the last tests to the client, one file a table in
// the client's own format, for empty tables like those they are in, and times
// that. The tables are in a database of their own that goes afterwards.
func BareInsert(ctx context.Context, client, address string, l *Loaded) (*Bare, error) {
	u, err := url.Parse(address)
	if err != nil {
		return nil, errors.New("the history's address can't be read")
	}
	database := u.Path[min(1, len(u.Path)):]
	bare := database + "_bare"
	password, _ := u.User.Password()
	run := func(in *os.File, out *os.File, query string) error {
		cmd := exec.CommandContext(ctx, client, "--host", u.Hostname(), "--port", u.Port(), "--user", u.User.Username(), "--password", password,
			"--database", database, "--query", query)
		var errs bytes.Buffer
		cmd.Stderr = &errs
		if in != nil {
			cmd.Stdin = in
		}
		if out != nil {
			cmd.Stdout = out
		}
		if err := cmd.Run(); err != nil {
			return fmt.Errorf("%s: %w: %s", client, err, errs.String())
		}
		return nil
	}
	dir, err := os.MkdirTemp("", "canter-bare-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	if err := run(nil, nil, "CREATE DATABASE "+bare); err != nil {
		return nil, err
	}
	b := &Bare{Tests: rate{n: l.Last.n}}
	err = b.insert(dir, database, bare, l.LastFrom, run)
	return b, errors.Join(err, run(nil, nil, "DROP DATABASE "+bare))
}

func (b *Bare) insert(dir, database, bare string, fromWeek int, run func(in, out *os.File, query string) error) error {
	since := day(fromWeek).UnixMilli()
	for _, t := range bareTables {
		file, err := os.Create(filepath.Join(dir, t.name))
		if err != nil {
			return err
		}
		err = run(nil, file, "SELECT * FROM "+t.name+" WHERE "+fmt.Sprintf(t.since, since)+" FORMAT Native")
		if err == nil {
			err = run(nil, nil, "CREATE TABLE "+bare+"."+t.name+" AS "+database+"."+t.name)
		}
		if err == nil {
			_, err = file.Seek(0, 0)
		}
		if err == nil {
			began := time.Now()
			err = run(file, nil, "INSERT INTO "+bare+"."+t.name+" FORMAT Native")
			b.Tests.time += time.Since(began)
		}
		if err = errors.Join(err, file.Close(), os.Remove(file.Name())); err != nil {
			return err
		}
	}
	return nil
}
