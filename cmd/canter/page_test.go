package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"

	"canter.example/schemas/broker/brokertest"
)

// livedIn is where lived made its season; "" when no test asked for one.
var livedIn string

// lived is a demo season, lived through once for all tests of the page; each
// begins with it as it was, at its own place: the archive remembers where files
// lay.
var lived = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "canter-page-")
	if err != nil {
		return "", err
	}
	livedIn = dir
	var out, complaint lockedBuffer
	if code := run(context.Background(), []string{"demo", "--dir", filepath.Join(dir, "demo")}, streams{out: &out, err: &complaint}); code != 0 {
		return "", fmt.Errorf("demo: exit %d: %s", code, complaint.String())
	}
	return dir, os.Rename(filepath.Join(dir, "demo"), filepath.Join(dir, "kept"))
})

// withPage serves a copy of the demo season with the page, and returns where
// it is and the process. edit changes the club file before.
func withPage(t *testing.T, edit func(yaml string) string, args ...string) (origin, dir string, p *process) {
	t.Helper()
	season, err := lived()
	if err != nil {
		t.Fatal(err)
	}
	dir = filepath.Join(season, "demo")
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(season, "kept"))); err != nil {
		t.Fatal(err)
	}
	clubFile := filepath.Join(dir, "club.yaml")
	yaml := readFile(t, clubFile)
	if edit != nil {
		yaml = edit(yaml)
	}
	if err := os.WriteFile(clubFile, []byte(yaml), 0o600); err != nil {
		t.Fatal(err)
	}
	address := fmt.Sprintf("127.0.0.1:%d", brokertest.FreePort(t))
	p = serve(t, append([]string{"--club", clubFile, "--data", filepath.Join(dir, "data"), "--page", address}, args...)...)
	return "http://" + address, dir, p
}

// testOf is the test of an athlete on a day.
func testOf(t *testing.T, dir, athlete, day string) string {
	t.Helper()
	rows := answer(t, filepath.Join(dir, "data", "history.db"), "SELECT test_id FROM tests WHERE athlete = '"+athlete+"' AND session LIKE '%/"+day+"'")
	if len(rows) != 1 {
		t.Fatalf("%d tests of %s on %s", len(rows), athlete, day)
	}
	return rows[0]
}

// TestThePagesLook takes a picture of every page at every size, and holds all
// of them to what can be checked without eyes.
func TestThePagesLook(t *testing.T) {
	origin, dir, _ := withPage(t, nil)
	b := newBrowser(t, origin)
	good, bad, none := testOf(t, dir, "ODL", "2026-10-27"), testOf(t, dir, "JPT", "2026-09-29"), testOf(t, dir, "JPT", "2026-10-06")
	for name, path := range map[string]string{
		"sessions": "/", "session": "/session?id=first/run-12/2026-09-29", "hot-session": "/session?id=first/run-12/2026-10-13&shift=-10",
		"test": "/test?id=" + good, "bad-test": "/test?id=" + bad + "&action=exclude", "no-test": "/test?id=" + none, "whole": "/test?id=" + none + "&whole=1",
		"moved": "/test?id=" + good + "&action=start&shift=20", "squad": "/squad", "athletes": "/athletes", "athlete": "/athlete?id=ODL",
		"alerts": "/alerts", "files": "/files",
	} {
		b.open(path)
		if strings.Contains(path, "/test") && name != "no-test" || strings.Contains(path, "/session") {
			b.until("the chart is drawn", "document.querySelector('.plot canvas')")
		}
		for _, size := range []struct {
			name          string
			width, height int64
		}{{"tablet", 1024, 768}, {"upright", 768, 1024}, {"phone", 390, 844}, {"desktop", 1280, 900}} {
			for _, dark := range []bool{true, false} {
				b.picture(name+"-"+size.name, size.width, size.height, dark)
				if size.name == "desktop" || size.name == "phone" {
					b.accessible(name)
				}
				// Once wide on light, once narrow on dark: rules see the same elements.
				if size.name == "desktop" && !dark || size.name == "phone" && dark {
					b.axe(name)
				}
			}
		}
		if name == "test" { // load and daily series stand beside it, without a verdict
			for _, want := range []string{"Beside it, no verdict", "7 days before: TRIMP", "3 days before", "2026-10-26: ", "sleep", "2026-10-27: ", "°C (whole squad)"} {
				if !strings.Contains(b.text(), want) {
					t.Errorf("a test's page lacks %q:\n%s", want, b.text())
				}
			}
		}
		if !strings.Contains(b.text(), "not a diagnosis") {
			t.Errorf("%s lacks the caution", name)
		}
		b.quiet()
	}
}

// TestAxeSeesWhatIsWrong: a rule that can't be broken holds nothing.
func TestAxeSeesWhatIsWrong(t *testing.T) {
	origin, _, _ := withPage(t, nil)
	b := newBrowser(t, origin)
	b.open("/alerts")
	if bad := b.axeSays("alerts"); len(bad) > 0 {
		t.Errorf("as it is: %v", bad)
	}
	js[bool](b, `document.querySelector("nav a").textContent = ""; document.querySelector("label").remove(); document.querySelector("h1").style.color = "#ddd"; document.querySelector("h1").style.background = "#fff"; true`)
	said := strings.Join(b.axeSays("alerts"), "\n")
	for _, rule := range []string{"link-name", "color-contrast"} {
		if !strings.Contains(said, rule+":") {
			t.Errorf("%s is not seen:\n%s", rule, said)
		}
	}
}

// TestAChartIsPrintedDarkOnWhite, though the screen was light on dark, and at
// the width of the paper.
func TestAChartIsPrintedDarkOnWhite(t *testing.T) {
	origin, dir, _ := withPage(t, nil)
	b := newBrowser(t, origin)
	b.open("/test?id=" + testOf(t, dir, "ODL", "2026-10-27"))
	b.picture("before-print", 1280, 900, true)
	b.until("the chart is drawn", "document.querySelector('.plot canvas')")
	const dark = `(() => {
		const c = document.querySelector(".plot canvas"), d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
		let dark = 0, all = 0;
		for (let i = 0; i < d.length; i += 4) if (d[i + 3] > 200) { all++; if (d[i] < 100) dark++; }
		return all ? dark / all : -1;
	})()`
	b.until("the chart is light on dark", dark+` >= 0 && `+dark+` < 0.5`)
	js[bool](b, `dispatchEvent(new Event("beforeprint"))`)
	b.until("the chart is that of the paper", `document.querySelector(".uplot").clientWidth === 690 && `+dark+` > 0.5`)
	js[bool](b, `dispatchEvent(new Event("afterprint"))`)
	b.until("the chart is that of the screen", `document.querySelector(".uplot").clientWidth > 690 && `+dark+` < 0.5`)
	b.forgive("Canvas2D") // of the reading above
	b.quiet()
}

// TestWhatTheDemoLeavesIsAccessible: the transcript of its chat and a session's
// report, as files in a browser.
func TestWhatTheDemoLeavesIsAccessible(t *testing.T) {
	season, err := lived()
	if err != nil {
		t.Fatal(err)
	}
	b := newBrowser(t, "file://")
	for name, want := range map[string]string{"chat.html": "what chat was told", "report-first.html": "Submaximal fitness test, First squad"} {
		b.do(chromedp.Navigate("file://"+filepath.Join(season, "kept", name)), chromedp.WaitReady("h1"))
		if h := js[string](b, "document.querySelector('h1').textContent"); !strings.Contains(h, want) {
			t.Errorf("%s: the heading reads %q", name, h)
		}
		for _, width := range []int64{390, 1280} {
			b.picture(name, width, 900, width == 390)
			b.axe(name)
		}
		for _, complaint := range js[[]string](b, lookForTrouble) {
			t.Errorf("%s: %s", name, complaint)
		}
		b.quiet() // nothing is fetched from anywhere
	}
}
