package main

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"canter.example/cmd/canter/page"
	"github.com/chromedp/chromedp"
)

// visitor speaks to the page without a browser's manners.
type visitor struct {
	t      *testing.T
	at     string
	client *http.Client
}

func newVisitor(t *testing.T, at string) *visitor {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &visitor{t, at, &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

// ask sends a request with further headers and returns answer and body.
func (v *visitor) ask(method, path string, form url.Values, headers ...string) (answered, string) {
	v.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r, err := http.NewRequestWithContext(v.t.Context(), method, v.at+path, body)
	if err != nil {
		v.t.Fatal(err)
	}
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
		}
		r.Header.Set(headers[i], headers[i+1])
	}
	answer, err := v.client.Do(r)
	if err != nil {
		v.t.Fatal(err)
	}
	defer answer.Body.Close()
	b, err := io.ReadAll(answer.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	return answered{answer.StatusCode, answer.Header}, string(b)
}

// answered is the head of an answer.
type answered struct {
	StatusCode int
	Header     http.Header
}

func (v *visitor) want(status int, what, method, path string, form url.Values, headers ...string) string {
	v.t.Helper()
	answer, body := v.ask(method, path, form, headers...)
	if answer.StatusCode != status {
		v.t.Errorf("%s: %s %s gives %d, want %d: %.200s", what, method, path, answer.StatusCode, status, body)
	}
	return body
}

// TestStrangersGetNothingOfThePage: other sites' pages, other names for its
// address, and requests that are too much.
func TestStrangersGetNothingOfThePage(t *testing.T) {
	origin, dir, p := withPage(t, nil)
	v := newVisitor(t, origin)
	test := testOf(t, dir, "ODL", "2026-10-27")
	change := url.Values{"id": {test}, "action": {"exclude"}, "who": {"Eve"}, "why": {"because"}}
	for _, path := range []string{"/", "/test?id=" + test, "/static/page.js", "/test/trace.json?id=" + test, "/nowhere", "/test?id=none"} {
		answer, body := v.ask("GET", path, nil)
		for name, want := range map[string]string{
			"Content-Security-Policy": "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'",
			"X-Content-Type-Options":  "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "no-referrer", "Cross-Origin-Resource-Policy": "same-origin",
		} {
			if got := answer.Header.Get(name); got != want {
				t.Errorf("%s: %s is %q", path, name, got)
			}
		}
		if cache := answer.Header.Get("Cache-Control"); cache != "no-store" && !strings.HasPrefix(path, "/static/") {
			t.Errorf("%s may be kept: %q", path, cache)
		}
		if !strings.HasPrefix(path, "/static") && (strings.Contains(body, "<style") || strings.Contains(body, " style=") || strings.Contains(body, "<script>") || strings.Contains(body, " on")) && strings.Contains(body, "onclick=") {
			t.Errorf("%s has styles or scripts inside", path)
		}
	}
	v.want(403, "a form of another site", "POST", "/test/change", change, "Origin", "https://evil.example", "Sec-Fetch-Site", "cross-site")
	v.want(403, "a form of another site, old browser", "POST", "/test/change", change, "Origin", "https://evil.example")
	v.want(403, "a form of a sister site", "POST", "/alerts/note", change, "Sec-Fetch-Site", "same-site")
	v.want(403, "a file of another site", "POST", "/files/drop", change, "Sec-Fetch-Site", "cross-site")
	v.want(421, "a name that points here", "GET", "/", nil, "Host", "evil.example:7466")
	v.want(421, "a name that points here, changing", "POST", "/test/change", change, "Host", "evil.example", "Sec-Fetch-Site", "same-origin")
	v.want(405, "a change by a link", "GET", "/test/change?id="+test+"&action=exclude&who=Eve&why=x", nil)
	v.want(404, "a listing", "GET", "/static/", nil)
	v.want(404, "a file outside", "GET", "/static/..%2fpage.go", nil)
	v.want(404, "a test that is not there", "GET", "/test?id=%27%20OR%201%3D1", nil)
	v.want(400, "a start that is none", "POST", "/test/change", url.Values{"id": {test}, "action": {"start"}, "shift": {"x"}, "who": {"A"}, "why": {"x"}})
	v.want(400, "no reason", "POST", "/test/change", url.Values{"id": {test}, "action": {"exclude"}, "who": {"A"}, "why": {"  "}})
	v.want(400, "nobody", "POST", "/test/change", url.Values{"id": {test}, "action": {"exclude"}, "why": {"x"}})
	v.want(400, "outside the recording", "POST", "/test/change", url.Values{"id": {test}, "action": {"start"}, "shift": {"80000"}, "who": {"A"}, "why": {"x"}})
	big := url.Values{"id": {test}, "action": {"exclude"}, "who": {"A"}, "why": {strings.Repeat("x", 200_000)}}
	if answer, _ := v.ask("POST", "/test/change", big); answer.StatusCode < 400 {
		t.Errorf("a form of 200 kB gives %d", answer.StatusCode)
	}
	if n := answer(t, filepath.Join(dir, "data", "history.db"), "SELECT count(*) FROM corrections")[0]; n != "0" {
		t.Errorf("%s corrections came through", n)
	}
	hostile := `"><script>hacked=1</script>`
	for _, path := range []string{"/?squad=", "/alerts?squad=", "/test?action=start&shift=1&why=%22&id=" + test + "&x=", "/session?id=", "/athlete?id=", "/?said="} {
		if _, body := v.ask("GET", path+url.QueryEscape(hostile), nil); strings.Contains(body, "<script>hacked") || strings.Contains(body, hostile) {
			t.Errorf("%s gives a script back", path)
		}
	}
	if log := p.log.String(); strings.Contains(log, "panic") {
		t.Errorf("a panic:\n%s", tail(log, 20))
	}
}

// TestWhoMayLookAndWhoMayChange with a sign-in, in a browser and without.
func TestWhoMayLookAndWhoMayChange(t *testing.T) {
	const password = "three words from a hat"
	usersFile := filepath.Join(t.TempDir(), "users")
	var lines []string
	for name, may := range map[string]page.Rights{"anna": page.MayCorrect, "ben": page.MayLook} {
		line, err := page.UserLine(name, may, password)
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, line)
	}
	write := func(lines ...string) {
		if err := os.WriteFile(usersFile, []byte(strings.Join(lines, "\n")), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(lines...)
	origin, dir, p := withPage(t, func(yaml string) string { return yaml + "\npage:\n  users_file: " + usersFile + "\n" })
	test := testOf(t, dir, "ODL", "2026-10-27")
	v := newVisitor(t, origin)
	for _, path := range []string{"/", "/session?id=x", "/test?id=" + test, "/athlete?id=ODL", "/alerts", "/files", "/squad", "/session/report?id=x", "/athlete/history.svg?id=ODL"} {
		if body := v.want(303, "not signed in", "GET", path, nil); strings.Contains(body, "Oisín") {
			t.Errorf("%s tells strangers of an athlete", path)
		}
	}
	v.want(401, "not signed in", "GET", "/test/trace.json?id="+test, nil)
	v.want(401, "not signed in", "GET", "/test/try?id="+test+"&action=exclude", nil)
	v.want(401, "not signed in", "POST", "/test/change", url.Values{"id": {test}, "action": {"exclude"}, "who": {"A"}, "why": {"x"}})
	v.want(401, "a wrong password", "POST", "/sign-in", url.Values{"name": {"anna"}, "password": {"three words from a cat"}})
	v.want(401, "a name that nobody has", "POST", "/sign-in", url.Values{"name": {"eve"}, "password": {password}})
	v.want(200, "the form's styles", "GET", "/static/page.css", nil)

	answerTo, _ := v.ask("POST", "/sign-in", url.Values{"name": {"ben"}, "password": {password}, "to": {"//evil.example"}})
	cookie := answerTo.Header.Get("Set-Cookie")
	if answerTo.StatusCode != 303 || answerTo.Header.Get("Location") != "/" || !strings.Contains(cookie, "HttpOnly") || !strings.Contains(cookie, "SameSite=Lax") || strings.Contains(cookie, "ben") {
		t.Errorf("signing in gives %d to %q with %q", answerTo.StatusCode, answerTo.Header.Get("Location"), cookie)
	}
	if body := v.want(200, "may look", "GET", "/test?id="+test, nil); !strings.Contains(body, "You may look, but not change") || strings.Contains(body, `action="/test/change"`) {
		t.Error("ben's page offers a change")
	}
	for _, path := range []string{"/test/change", "/session/start", "/alerts/note", "/files/retry", "/files/letgo", "/files/drop"} {
		v.want(403, "may only look", "POST", path, url.Values{"id": {test}, "action": {"exclude"}, "who": {"ben"}, "why": {"x"}})
	}

	b := newBrowser(t, origin)
	b.open("/test?id=" + test)
	b.accessible("sign-in")
	b.picture("sign-in-phone", 390, 844, false)
	b.do(chromedp.SendKeys(`#name`, "anna"), chromedp.SendKeys(`#password`, "not the right one"), chromedp.Click(`button.main`), chromedp.WaitVisible(`.wrong`))
	b.forgive("401")
	b.do(chromedp.SendKeys(`#password`, password), chromedp.Click(`button.main`), chromedp.WaitVisible(`input[value=exclude]`))
	b.do(chromedp.Click(`input[value=exclude]`), chromedp.SendKeys(`#why`, "as anna"), chromedp.Click(`form.change button.main`))
	b.until("saved", saved)
	if got := answer(t, filepath.Join(dir, "data", "history.db"), "SELECT who, why FROM corrections"); len(got) != 1 || got[0] != "anna | as anna" {
		t.Errorf("audit %q", got)
	}
	b.do(chromedp.Click(`.out button`), chromedp.WaitVisible(`#password`))
	b.open("/alerts")
	if !strings.Contains(js[string](b, "location.pathname"), "sign-in") {
		t.Error("signed out, and still let in")
	}
	b.quiet()

	// Taken out of the file, ben is out at once.
	for _, l := range lines {
		if strings.HasPrefix(l, "anna") {
			write(l)
		}
	}
	v.want(303, "taken out of the file", "GET", "/alerts", nil)
	limited := false
	for range 12 {
		a, _ := newVisitor(t, origin).ask("POST", "/sign-in", url.Values{"name": {"anna"}, "password": {"guess after guess after guess"}})
		limited = limited || a.StatusCode == http.StatusTooManyRequests
	}
	if !limited {
		t.Error("twelve guesses, and none was refused")
	}
	if log := p.log.String(); strings.Contains(log, password) || strings.Contains(log, "guess after") || strings.Contains(log, "argon2id") {
		t.Error("a password or a hash stands in the log")
	}
}

// TestFilesThatAreTooMuchAreRefusedWithWords, and nothing of them is kept.
func TestFilesThatAreTooMuchAreRefusedWithWords(t *testing.T) {
	origin, dir, _ := withPage(t, func(yaml string) string { return yaml + "\nfiles:\n  max_size: 100kB\n" })
	send := func(squad string, files map[string][]byte) (int, string) {
		var body bytes.Buffer
		w := multipart.NewWriter(&body)
		_ = w.WriteField("squad", squad)
		for name, content := range files {
			f, err := w.CreateFormFile("files", name)
			if err != nil {
				t.Fatal(err)
			}
			_, _ = f.Write(content)
		}
		_ = w.Close()
		r, err := http.NewRequestWithContext(t.Context(), "POST", origin+"/files/drop", &body)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", w.FormDataContentType())
		a, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer a.Body.Close()
		b, err := io.ReadAll(a.Body)
		if err != nil {
			t.Fatal(err)
		}
		return a.StatusCode, string(b)
	}
	before := answer(t, filepath.Join(dir, "data", "history.db"), "SELECT count(*) FROM files")[0]
	for what, c := range map[string]struct {
		squad string
		files map[string][]byte
		code  int
		says  string
	}{
		"too large":         {"first", map[string][]byte{"x.fit": make([]byte, 150_000)}, 200, "It is larger than 0.1 MB"},
		"empty":             {"first", map[string][]byte{"x.fit": nil}, 200, "It is empty"},
		"a squad of nobody": {"third", map[string][]byte{"x.fit": []byte("x")}, 400, "Choose the squad"},
		"nothing":           {"first", nil, 400, "Choose at least one file"},
		"far too much":      {"first", map[string][]byte{"x.fit": make([]byte, 2_000_000)}, 413, "too much at once"},
	} {
		if code, body := send(c.squad, c.files); code != c.code || !strings.Contains(body, c.says) {
			t.Errorf("%s: %d, want %d and %q: %.600s", what, code, c.code, c.says, body)
		}
	}
	if after := answer(t, filepath.Join(dir, "data", "history.db"), "SELECT count(*) FROM files")[0]; after != before {
		t.Errorf("%s files before, %s after", before, after)
	}
}

// TestThePageCallsAthletesAsTheClubSays holds the privacy setting to every page.
func TestThePageCallsAthletesAsTheClubSays(t *testing.T) {
	origin, dir, _ := withPage(t, func(yaml string) string {
		return strings.Replace(yaml, "\nprivacy:\n", "\nprivacy:\n  page_names: id\n", 1)
	})
	v := newVisitor(t, origin)
	test := testOf(t, dir, "ODL", "2026-10-27")
	for _, path := range []string{"/", "/session?id=first/run-12/2026-10-27", "/test?id=" + test + "&action=exclude", "/athletes", "/athlete?id=ODL", "/squad", "/alerts?all=1", "/files",
		"/session/traces.json?id=first/run-12/2026-10-27", "/athlete/history.svg?id=ODL&protocol=run-12", "/session/report?id=first/run-12/2026-10-27"} {
		body := v.want(200, "by id", "GET", path, nil)
		for _, name := range []string{"Dalrath", "Oisín", "Patelkar", "Jivan", "GUEST-01"} {
			if strings.Contains(body, name) {
				t.Errorf("%s names %s", path, name)
			}
		}
	}
}

// TestHostileNamesAreTextInTheBrowser: an athlete and a squad whose names are
// markup and script do nothing on any page but stand there.
func TestHostileNamesAreTextInTheBrowser(t *testing.T) {
	const hostile = `<img src=x onerror=hacked=1>'";</script><script>hacked=1</script>{{.}}`
	origin, dir, _ := withPage(t, func(yaml string) string {
		roster := filepath.Join(livedIn, "demo", "athletes.csv")
		csv := strings.Replace(readFile(t, roster), "Oisín Dalrath", `"`+strings.ReplaceAll(hostile, `"`, `""`)+`"`, 1)
		if err := os.WriteFile(roster, []byte(csv), 0o600); err != nil {
			t.Fatal(err)
		}
		return strings.Replace(yaml, "name: Second squad", "name: '<b onmouseover=hacked=1>Second</b>'", 1)
	})
	b := newBrowser(t, origin)
	test := testOf(t, dir, "ODL", "2026-10-27")
	for _, path := range []string{"/", "/session?id=first/run-12/2026-10-27&shift=5", "/test?id=" + test + "&action=exclude", "/athletes", "/athlete?id=ODL", "/squad", "/squad?id=second", "/alerts?all=1", "/files"} {
		b.open(path)
		if strings.Contains(path, "id=first") {
			b.until("the chart is drawn", `document.querySelector('.plot canvas')`)
			js[bool](b, `(() => { const p = document.querySelector('#pick'); p.value = '14'; p.dispatchEvent(new Event('change')); return true; })()`)
		}
		if js[bool](b, `'hacked' in window`) || js[bool](b, `Boolean(document.querySelector('img[src=x]'))`) {
			t.Errorf("%s runs what a name says", path)
		}
	}
	b.open("/athlete?id=ODL")
	if h := js[string](b, `document.querySelector('h1').textContent`); h != hostile {
		t.Errorf("the heading reads %q", h)
	}
	b.quiet()
}
