package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"time"

	"canter.example/cmd/canter/page"
	"canter.example/ingest/formats"
	"canter.example/schemas/club"
	"canter.example/scorer"
	"golang.org/x/term"
)

type pageCmd struct {
	Password pagePasswordCmd `cmd:"" help:"Make the line of the users' file for somebody who may sign in."`
}

// Help is shown below the commands.
func (pageCmd) Help() string {
	return `canter serve offers the page; this is about who may sign in. Users stand in the
file that page.users_file of the club file names, a line each: name, what they may
do (look, or correct as well), and the password's argon2id hash. A changed file
counts at once; a line taken out ends that user's sign-in.

Example:
  canter page password --user anna --may correct >> /etc/canter/page-users`
}

type pagePasswordCmd struct {
	User string `help:"Name to sign in with; corrections are kept under it." required:"" placeholder:"NAME"`
	May  string `help:"What the user may do: ${enum}." enum:"look,correct" default:"correct"`
	telling
}

// Help is shown below the options.
func (pagePasswordCmd) Help() string {
	return `Asks for the password on a terminal, else reads one line from standard input, and
prints the line. The password itself is kept nowhere.

As JSON: user, may, line.`
}

// Run prints a user's line.
func (c *pagePasswordCmd) Run(std streams) error {
	password, err := askPassword(os.Stdin, std.err)
	if err != nil {
		return err
	}
	line, err := page.UserLine(c.User, page.Rights(c.May), password)
	if err != nil {
		return usagef("%v", err)
	}
	if c.json() {
		return jsonLines(std.out, struct {
			User string `json:"user"`
			May  string `json:"may"`
			Line string `json:"line"`
		}{c.User, c.May, line})
	}
	_, err = fmt.Fprintln(std.out, line)
	return err
}

// askPassword asks twice on a terminal, and reads one line from anything else.
func askPassword(in *os.File, say io.Writer) (string, error) {
	fd := int(in.Fd())
	if !term.IsTerminal(fd) {
		line, err := bufio.NewReader(io.LimitReader(in, 4096)).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", err
		}
		return strings.TrimRight(line, "\r\n"), nil
	}
	var answers [2]string
	for i, question := range []string{"Password: ", "Once more: "} {
		_, _ = fmt.Fprint(say, question)
		b, err := term.ReadPassword(fd)
		_, _ = fmt.Fprintln(say)
		if err != nil {
			return "", err
		}
		answers[i] = string(b)
	}
	if answers[0] != answers[1] {
		return "", errors.New("the two are not the same: nothing was made")
	}
	return answers[0], nil
}

// newPage makes the page of a running service. The scorer in it stores nothing:
// it says what tests would be.
func (p *pipeline) newPage(s club.Page) (*page.Page, error) {
	preview := scorer.New(scorer.Config{Club: p.club, Decode: decode(formats.Limits{}), Log: p.log}, p.broker, p.history)
	return page.New(page.Config{
		Club: p.club, Settings: s, History: p.history, Scorer: preview, Broker: p.broker, Log: p.log, Now: time.Now,
	})
}

// listenPage opens the page's port. One that nobody asked for gives way to
// whatever has it: then the page is nil, and the log says so.
func (c *serveCmd) listenPage(p *pipeline) (*page.Page, net.Listener, error) {
	s := p.club.Page
	if c.Page != "" {
		s.Listen = c.Page
	}
	if s.Listen == club.PageOff || p.history == nil {
		return nil, nil, nil
	}
	pg, err := p.newPage(s)
	if err != nil {
		return nil, nil, err
	}
	l, err := net.Listen("tcp", s.Listen)
	if err != nil && c.Page == "" && s.Listen == club.DefaultPageListen {
		p.log.Warn("no page: its port is taken, perhaps by another canter; choose one with --page or page.listen", "err", err)
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, fmt.Errorf("page: %w: choose another address with --page or page.listen, or --page off", err)
	}
	scheme := "http"
	if s.CertFile != "" {
		scheme = "https"
	}
	p.log.Info("page", "address", scheme+"://"+l.Addr().String()+"/", "sign_in", s.UsersFile != "")
	return pg, l, nil
}

// servePage answers until ctx ends.
func servePage(ctx context.Context, pg *page.Page, l net.Listener) func() error {
	return func() error { return pg.Serve(ctx, l) }
}
