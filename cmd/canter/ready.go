package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"
)

type readyCmd struct {
	HTTP string `name:"http" help:"Where the service's /readyz is." default:"127.0.0.1:7465" placeholder:"HOST:PORT" env:"CANTER_HTTP"`
	telling
}

// Help is shown below the options.
func (readyCmd) Help() string {
	return `Asks a running canter serve whether it can do its work, for containers and
scripts that have no other program to ask with. Exit code 0 when it can.

As JSON, whether it can or not: ready, text (why not).

Example:
  canter ready`
}

// Run asks once.
func (c *readyCmd) Run(ctx context.Context, std streams) error {
	ctx, cancel := context.WithTimeout(ctx, 8*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+c.HTTP+"/readyz", nil)
	if err != nil {
		return usagef("--http %s: want HOST:PORT", c.HTTP)
	}
	r, err := http.DefaultClient.Do(req)
	if err != nil {
		return c.not(std.out, fmt.Errorf("nobody answers at %s: is canter serve running, with that --http?", c.HTTP))
	}
	defer func() { _ = r.Body.Close() }()
	text, err := io.ReadAll(io.LimitReader(r.Body, 4096))
	if err != nil {
		return err
	}
	if r.StatusCode != http.StatusOK {
		return c.not(std.out, fmt.Errorf("not ready: %s", strings.TrimSpace(string(text))))
	}
	if c.json() {
		return jsonLines(std.out, readiness{true, strings.TrimSpace(string(text))})
	}
	_, err = fmt.Fprint(std.out, string(text))
	return err
}

// readiness is the JSON form of the answer.
type readiness struct {
	Ready bool   `json:"ready"`
	Text  string `json:"text"`
}

// not says why the service can't do its work.
func (c *readyCmd) not(w io.Writer, why error) error {
	if !c.json() {
		return why
	}
	return errors.Join(jsonLines(w, readiness{false, why.Error()}), errSaid)
}
