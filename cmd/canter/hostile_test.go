package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"canter.example/cmd/canter/season"
	"canter.example/schemas/broker"
)

// hostile is a name that means something to HTML, chat markup, spreadsheets,
// SQL and terminals.
const hostile = `=HYPERLINK("x") <img src=x onerror=alert(1)> <!channel> *O'Leary* '; DROP TABLE tests; --`

// TestANameIsTextWhereverItGoes sends the athlete who falls ill through the
// whole service under a name that is none, with a file whose name forges a log
// line, and looks at all that comes out.
func TestANameIsTextWhereverItGoes(t *testing.T) {
	s, err := season.New(season.Options{Weeks: 6})
	if err != nil {
		t.Fatal(err)
	}
	ill := ""
	for _, st := range s.Story {
		if strings.Contains(st.What, "ill") && st.FromWeek == 6 {
			ill = st.Athlete
		}
	}
	dir, clubFile := clubDir(t, s)
	chat := slackFor(t, clubFile)
	rename(t, filepath.Join(dir, "athletes.csv"), ill)
	data := filepath.Join(dir, "data")
	address := filepath.Join(data, "history.db")
	p := serve(t, "--club", clubFile, "--data", data)
	n := 0
	for _, day := range s.Days {
		drop(t, dir, day.Files...)
		n += len(day.Files)
	}
	forged := "x\nlevel=ERROR msg=forged \x1b[31m.fit"
	drop(t, dir, season.File{Path: "inbox/first/2026-09-23/" + forged, Content: []byte("no recording\n")})
	p.handled(address, broker.Config{Dir: data}, n+1)
	p.stop()

	told := ""
	for _, m := range chat.Posted() {
		told += m.Text + "\n"
	}
	if !strings.Contains(told, "onerror") {
		t.Fatal("nothing was told of the athlete: the test looks at nothing")
	}
	wantNone(t, "chat", told, "<!channel>", "<img", "\x1b")
	wantNone(t, "log", p.log.String(), "\nlevel=ERROR msg=forged", "\x1b")

	session := answer(t, address, "SELECT session FROM tests WHERE athlete = '"+ill+"' ORDER BY start_ms DESC LIMIT 1")[0]
	page := filepath.Join(dir, "report.html")
	if code, _, complaint := typed(t, "report", "--session", session, "--club", clubFile, "--data", data, "--out", page); code != 0 {
		t.Fatal(complaint)
	}
	html := readFile(t, page)
	if !strings.Contains(html, "onerror") {
		t.Fatal("the report does not name the athlete")
	}
	wantNone(t, "report", html, "<img src=x", "<!channel>")

	out := filepath.Join(dir, "export")
	if code, _, complaint := typed(t, "export", "--data", data, "--dir", out, "--format", "csv"); code != 0 {
		t.Fatal(complaint)
	}
	wantNoFormula(t, out)
	for _, args := range [][]string{{"parked", "list"}, {"alerts", "list"}, {"tests", "list"}} {
		code, listing, complaint := typed(t, append(args, "--data", data)...)
		if code != 0 {
			t.Errorf("%v: %s", args, complaint)
		}
		wantNone(t, strings.Join(args, " "), listing, "\nlevel=ERROR", "\x1b")
	}
	if got := answer(t, address, "SELECT count(*) FROM tests"); got[0] == "0" {
		t.Error("the tests are gone")
	}
}

// rename gives an athlete of the club's spreadsheet the hostile name.
func rename(t *testing.T, name, athlete string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(readFile(t, name))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i := range rows {
		if rows[i][0] == athlete {
			rows[i][1] = hostile
		}
	}
	var buf bytes.Buffer
	if err := csv.NewWriter(&buf).WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, buf.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

func wantNone(t *testing.T, where, text string, raw ...string) {
	t.Helper()
	for _, r := range raw {
		if i := strings.Index(text, r); i >= 0 {
			t.Errorf("%s: %q came through as it is: …%q…", where, r, text[max(0, i-60):min(len(text), i+60)])
		}
	}
}

// wantNoFormula reads every exported table as a spreadsheet would.
func wantNoFormula(t *testing.T, dir string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.csv"))
	if err != nil || len(files) < 10 {
		t.Fatalf("%d tables exported: %v", len(files), err)
	}
	for _, name := range files {
		rows, err := csv.NewReader(strings.NewReader(readFile(t, name))).ReadAll()
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for _, row := range rows {
			for _, cell := range row {
				if strings.HasPrefix(cell, "=") || strings.HasPrefix(cell, "@") {
					t.Errorf("%s: a spreadsheet would run %q", filepath.Base(name), cell)
				}
			}
		}
	}
}
