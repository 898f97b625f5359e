package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"canter.example/cmd/canter/season"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

const saved = `document.querySelector('.said-done')?.textContent.includes('worked in: the numbers')`

// TestAFirstTimeUserLeavesABadTraceOut goes the way of somebody who has never
// seen the page: from the list to the session, to the thick frame, to the test,
// and sees what leaving it out does before it is saved.
func TestAFirstTimeUserLeavesABadTraceOut(t *testing.T) {
	origin, dir, _ := withPage(t, nil)
	db := filepath.Join(dir, "data", "history.db")
	b := newBrowser(t, origin)
	b.open("/")
	js[bool](b, `(() => { [...document.querySelectorAll('.sessions li.to-decide')].find(li => li.textContent.includes('29 Sep')).querySelector('a').click(); return true; })()`)
	b.until("the session is there", `document.querySelector('.panels .marked')`)
	name := js[string](b, `document.querySelector('.panels li b').textContent`)
	if !js[bool](b, `document.querySelector('.panels li').classList.contains('marked')`) || name != "Jivan Patelkar" {
		t.Errorf("the first trace is that of %s, want the marked one of Jivan Patelkar", name)
	}
	b.do(chromedp.Click(`.panels .marked a`), chromedp.WaitVisible(`input[value=exclude]`), chromedp.Click(`input[value=exclude]`))
	b.until("what it does is shown", `document.querySelector('.tried').textContent.includes('left out')`)
	b.do(chromedp.SendKeys(`#why`, "strap slipped <b>"), chromedp.SendKeys(`#who`, "Dr. O'Hara & Co"), chromedp.Click(`button.main`))
	b.until("saved", saved)
	if text := b.text(); !strings.Contains(text, "left out by Dr. O'Hara & Co: strap slipped <b>") {
		t.Errorf("the page does not say what was done:\n%s", text)
	}
	got := answer(t, db, "SELECT action, who, why FROM corrections ORDER BY correction_id DESC LIMIT 1")
	if len(got) != 1 || got[0] != "exclude | Dr. O'Hara & Co | strap slipped <b>" {
		t.Errorf("audit %q", got)
	}
	b.quiet()
}

// TestWhatIsShownBeforeSavingIsWhatComesOfIt: a test that counts is left out,
// and every number that the page foretold is the one that is stored then.
func TestWhatIsShownBeforeSavingIsWhatComesOfIt(t *testing.T) {
	origin, dir, _ := withPage(t, nil)
	db := filepath.Join(dir, "data", "history.db")
	b := newBrowser(t, origin)
	test := testOf(t, dir, "ODL", "2026-10-27")
	b.open("/test?id=" + test)
	b.do(chromedp.Click(`input[value=exclude]`))
	b.until("what it does is shown", `document.querySelector('.tried table')`)
	tried := js[string](b, `document.querySelector('.tried').innerText`)
	if !strings.Contains(tried, "Taken back: HRex higher for several tests, Oisín Dalrath, Tue 27 Oct 2026") {
		t.Errorf("does not say that the alert goes:\n%s", tried)
	}
	baseline := js[string](b, `[...document.querySelectorAll('.tried tr')].find(r => r.textContent.includes('Baseline of HRex')).cells[2].firstChild.textContent.trim()`)
	if was := js[string](b, `[...document.querySelectorAll('.tried tr')].find(r => r.textContent.includes('Baseline of HRex')).cells[1].textContent`); was == baseline {
		t.Errorf("the next test's baseline stays %s", was)
	}
	m := regexp.MustCompile(`Oisín Dalrath, 3 Nov: z of HRex \S+ → (\S+),`).FindStringSubmatch(tried)
	if m == nil {
		t.Fatalf("does not say what becomes of the test a week later:\n%s", tried)
	}
	b.do(chromedp.SendKeys(`#why`, "ran in the second group"), chromedp.SendKeys(`#who`, "Anna"), chromedp.Click(`button.main`))
	b.until("saved", saved)
	later := answer(t, db, "SELECT printf('%+.1f', z) FROM assessments WHERE measure = 'hrex' AND test_id = '"+testOf(t, dir, "ODL", "2026-11-03")+"'")
	if foretold := strings.Replace(m[1], "−", "-", 1); later[0] != foretold {
		t.Errorf("a week later z is %s, the page had said %s", later[0], foretold)
	}
	state := answer(t, db, "SELECT state FROM alerts WHERE test_id = '"+test+"' AND rule LIKE '%running%'")
	if len(state) == 0 || state[0] != "withdrawn" {
		t.Errorf("the alert is %q", state)
	}
	// Taken back, all is as it was: the name is remembered.
	b.open("/test?id=" + test)
	b.do(chromedp.Click(`input[value=restore]`), chromedp.SendKeys(`#why`, "it was the first group after all"))
	if who := js[string](b, `document.querySelector('#who').value`); who != "Anna" {
		t.Errorf("the name is %q now", who)
	}
	b.do(chromedp.Click(`button.main`))
	b.until("saved", saved)
	if state := answer(t, db, "SELECT state FROM alerts WHERE test_id = '"+test+"' AND rule LIKE '%running%'"); state[0] == "withdrawn" {
		t.Error("the alert stays taken back")
	}
	b.quiet()
}

// TestTheStartOfAllIsMovedByKeyboard: nobody touches a mouse from the list of
// sessions to the saved change, and the focus can be seen at every stop.
func TestTheStartOfAllIsMovedByKeyboard(t *testing.T) {
	origin, dir, _ := withPage(t, nil)
	db := filepath.Join(dir, "data", "history.db")
	b := newBrowser(t, origin)
	b.open("/")
	b.tabTo(`document.activeElement.matches('.skip')`)
	b.press(kb.Enter)
	b.tabTo(`document.activeElement.textContent.includes('Tue 13 Oct 2026') && document.activeElement.textContent.includes('First')`)
	b.press(kb.Enter)
	b.until("the session is there", `document.querySelector('#session-chart canvas')`)
	b.tabTo(`document.activeElement.matches('#pick')`)
	b.press("O")
	b.tabTo(`document.activeElement.matches('#session-chart .plot')`)
	b.press(kb.ArrowRight, kb.ArrowRight, "+", "+")
	b.until("the reading line reads", `/^Oisín Dalrath, 0:0[12]: \d+ bpm$/.test(document.querySelector('.readout').textContent)`)
	b.tabTo(`document.activeElement.matches('#shift')`)
	for range 4 {
		b.press(kb.ArrowUp)
	}
	b.until("what it does is shown", `document.querySelector('.tried table')`)
	b.tabTo(`document.activeElement.matches('input[name=test]')`)
	b.press(" ") // the first one stays as it is
	left := js[string](b, `document.activeElement.value`)
	foretold := js[map[string]string](b, `Object.fromEntries([...document.querySelectorAll('.tried tbody tr')].map(r => [r.querySelector('input').value, r.cells[3].firstChild.textContent.trim()]))`)
	b.tabTo(`document.activeElement.matches('#why')`)
	b.do(chromedp.KeyEvent("the whistle came later"))
	b.tabTo(`document.activeElement.matches('#who')`)
	b.do(chromedp.KeyEvent("Anna"))
	b.press(kb.Enter)
	b.until("saved", saved)
	moved := 0
	for _, line := range answer(t, db, "SELECT test_id, start_source, printf('%.1f', hrex_pct), printf('%.0f', hrex_bpm) FROM tests WHERE session = 'first/run-12/2026-10-13'") {
		f := strings.Split(line, " | ")
		if (f[1] == "by hand") == (f[0] == left) {
			t.Errorf("%s, left alone %s", line, left)
		}
		if f[1] != "by hand" {
			continue
		}
		moved++
		if want := foretold[f[0]]; strings.ReplaceAll(want, "*", "") != fmt.Sprintf("%s (%s)", f[2], f[3]) {
			t.Errorf("test %s has HRex %s (%s), the page had said %s", f[0], f[2], f[3], want)
		}
	}
	if moved != 21 {
		t.Errorf("%d starts were moved", moved)
	}
	b.quiet()
}

// tabTo presses Tab until the focus is where it should be, and wants it to be
// seen wherever it is.
func (b *browser) tabTo(there string) {
	b.t.Helper()
	for range 200 {
		b.press(kb.Tab)
		if hidden := js[string](b, `(() => { const e = document.activeElement, s = getComputedStyle(e), r = e.getBoundingClientRect();
			return e === document.body || s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2 && r.width > 0 && r.right > 0 ? "" : e.outerHTML.slice(0, 120); })()`); hidden != "" {
			b.t.Errorf("the focus can't be seen on %s", hidden)
		}
		if js[bool](b, there) {
			return
		}
	}
	b.t.Fatalf("Tab never leads to where %s", there)
}

// TestDroppedFilesGoTheWayOfWatchedOnes: a good one is scored for its athlete,
// a stranger's is parked and given to somebody by hand, and a hostile name does
// nothing but look odd.
func TestDroppedFilesGoTheWayOfWatchedOnes(t *testing.T) {
	origin, dir, _ := withPage(t, nil)
	db := filepath.Join(dir, "data", "history.db")
	s, err := season.New(season.Options{Seed: 5, Weeks: 2})
	if err != nil {
		t.Fatal(err)
	}
	var mine []season.File
	day := s.Days[0].Date.Format(time.DateOnly)
	for _, f := range s.Days[0].Files {
		if len(f.Truth) == 1 && f.Truth[0].Test && strings.HasPrefix(f.Path, "inbox/first/") {
			mine = append(mine, f)
		}
	}
	if len(mine) < 3 {
		t.Fatalf("only %d files on the first day", len(mine))
	}
	from := t.TempDir()
	put := func(name string, content []byte) string {
		name = filepath.Join(from, name)
		if err := os.WriteFile(name, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return name
	}
	good := put(filepath.Base(mine[0].Path), mine[0].Content)
	stranger := put("NOBODY"+filepath.Ext(mine[1].Path), mine[1].Content)
	hostile := put(`<img src=x onerror="hacked=1">.fit`, []byte("no recording at all"))
	b := newBrowser(t, origin)
	b.open("/files")
	b.do(chromedp.SetValue(`#day`, day), chromedp.SetUploadFiles(`#files`, []string{good, stranger, hostile}), chromedp.Click(`form.drop button.main`), chromedp.WaitVisible(`.results`))
	b.until("all are done with", `!document.querySelector('.results').textContent.includes('looked at')`)
	results := js[string](b, `document.querySelector('.results').innerText`)
	if !strings.Contains(results, filepath.Base(good)+": 1 test scored") || strings.Count(results, "parked:") != 2 || js[bool](b, `'hacked' in window`) {
		t.Errorf("what became of them:\n%s", results)
	}
	athlete := mine[0].Truth[0].Athlete
	if got := answer(t, db, "SELECT athlete FROM tests WHERE file_id = (SELECT file_id FROM files WHERE path = '"+day+"/"+filepath.Base(good)+"' AND seen > '2026-11-20')"); len(got) != 1 || got[0] != athlete {
		t.Errorf("the test is that of %q, want %s", got, athlete)
	}
	// The same file again is known.
	b.open("/files")
	b.do(chromedp.SetUploadFiles(`#files`, []string{good}), chromedp.Click(`form.drop button.main`), chromedp.WaitVisible(`.results`))
	b.until("it is known", `document.querySelector('.results').textContent.includes('1 test scored')`)
	// Whose the stranger's is, by hand; and the hostile one is let go of.
	owner := mine[1].Truth[0].Athlete
	b.open("/files")
	item := `[...document.querySelectorAll('article.file')].find(a => a.textContent.includes('NOBODY'))`
	js[bool](b, item+`.querySelector('details').open = true`)
	js[bool](b, `(() => { const a = `+item+`; a.querySelector('select').value = '`+owner+`'; a.querySelector('[name=why]').value = 'asked around'; a.querySelector('[name=who]').value = 'Anna'; a.querySelector('button').click(); return true; })()`)
	b.until("put through again", `document.querySelector('.said-done')?.textContent.includes('again')`)
	if got := answer(t, db, "SELECT state FROM files WHERE path LIKE '%NOBODY%'"); len(got) != 1 || got[0] != "scored" {
		t.Errorf("the stranger's file is %q", got)
	}
	item = `[...document.querySelectorAll('article.file')].find(a => a.textContent.includes('_img'))`
	js[bool](b, `(() => { const a = `+item+`; a.querySelector('[name=why]').value = 'no recording'; a.querySelector('[name=who]').value = 'Anna'; a.querySelectorAll('button')[1].click(); return true; })()`)
	b.until("let go of", `document.querySelector('.said-done')?.textContent.includes('Let go of')`)
	b.quiet()
}

// TestAlertsAreSeenAndNoted on the page.
func TestAlertsAreSeenAndNoted(t *testing.T) {
	origin, dir, _ := withPage(t, nil)
	b := newBrowser(t, origin)
	b.open("/alerts?squad=first")
	id := js[string](b, `document.querySelector('form.note input[name=id]').value`)
	n := js[int](b, `document.querySelectorAll('article.alert').length`)
	b.do(chromedp.SendKeys(`form.note input[name=text]`, "had a cold since Sunday"), chromedp.SendKeys(`form.note input[name=who]`, "Anna"), chromedp.Click(`form.note button[name=seen]`))
	b.until("noted", `document.querySelector('.said-done')`)
	if got := js[int](b, `document.querySelectorAll('article.alert').length`); got != n-1 {
		t.Errorf("%d open alerts, want %d", got, n-1)
	}
	got := answer(t, filepath.Join(dir, "data", "history.db"), "SELECT n.text, n.who, a.state FROM notes n JOIN alerts a ON a.alert_id = n.alert_id WHERE n.alert_id = '"+id+"'")
	if len(got) != 1 || got[0] != "had a cold since Sunday | Anna | seen" {
		t.Errorf("%q", got)
	}
	b.quiet()
}
