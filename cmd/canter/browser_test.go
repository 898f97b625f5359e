package main

import (
	"context"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser is a tab of Debian's chromium that watches what the page does: what
// it complains of on the console, and whom it asks.
type browser struct {
	t   *testing.T
	ctx context.Context
	at  string // the page's origin

	mu         sync.Mutex
	complaints []string
	strangers  []string
}

// newBrowser starts a chromium of its own, with further options; that it is
// missing fails the test.
func newBrowser(t *testing.T, origin string, options ...chromedp.ExecAllocatorOption) *browser {
	t.Helper()
	if _, err := os.Stat("/usr/bin/chromium"); err != nil {
		t.Fatalf("no chromium: %v: apt-get install chromium (sh .ci/needs does)", err)
	}
	b := &browser{t: t, at: origin}
	options = append([]chromedp.ExecAllocatorOption{
		chromedp.ExecPath("/usr/bin/chromium"), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.NoDefaultBrowserCheck, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("disable-extensions", true), chromedp.Flag("hide-scrollbars", true),
	}, options...)
	ctx, stop := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(stop)
	ctx, cancel := context.WithTimeout(ctx, 4*time.Minute)
	t.Cleanup(cancel)
	ctx, cancelTab := chromedp.NewContext(ctx, chromedp.WithListener(b.listen))
	t.Cleanup(cancelTab)
	b.ctx = ctx
	// The first call opens the tab, for as long as its context lives.
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.EmulateViewport(1280, 900))
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, log.Enable, cdp.Empty{}); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *browser) listen(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := ev.(type) {
	case *runtime.EventExceptionThrown:
		b.complaints = append(b.complaints, e.ExceptionDetails.Text+" "+e.ExceptionDetails.URL)
	case *runtime.EventConsoleAPICalled:
		for _, a := range e.Args {
			b.complaints = append(b.complaints, "console: "+string(a.Value))
		}
	case *log.EventEntryAdded:
		b.complaints = append(b.complaints, e.Entry.Text+" "+e.Entry.URL)
	case *network.EventRequestWillBeSent:
		u, err := url.Parse(e.Request.URL)
		if err != nil || u.Scheme != "data" && u.Scheme != "about" && u.Scheme+"://"+u.Host != b.at {
			b.strangers = append(b.strangers, e.Request.URL)
		}
	}
}

// quiet fails the test when the page complained or asked anybody else.
func (b *browser) quiet() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, c := range b.complaints {
		b.t.Errorf("the browser complains: %s", c)
	}
	for _, s := range b.strangers {
		b.t.Errorf("a request leaves the page's origin: %s", s)
	}
	b.complaints, b.strangers = nil, nil
}

// forgive forgets complaints that the test has provoked.
func (b *browser) forgive(part string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.complaints = slices.DeleteFunc(b.complaints, func(c string) bool { return strings.Contains(c, part) })
}

func (b *browser) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 60*time.Second)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		b.t.Fatalf("%v\n%s", err, b.text())
	}
}

// open goes to a path and waits until the page is there.
func (b *browser) open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.at+path), chromedp.WaitReady("footer"))
}

// js evaluates an expression.
func js[T any](b *browser, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// text is what the page reads like, "" when there is none.
func (b *browser) text() string {
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[string]("document.body.innerText"))
	if err != nil {
		return ""
	}
	return v
}

// until waits for an expression to be true of a page that is there whole: one
// that still comes loses the nodes that were found in it.
func (b *browser) until(what, expression string) {
	b.t.Helper()
	for deadline := time.Now().Add(45 * time.Second); time.Now().Before(deadline); time.Sleep(30 * time.Millisecond) {
		v, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool]("document.readyState === 'complete' && Boolean("+expression+")"))
		if err == nil && v {
			return
		}
	}
	b.t.Fatalf("not so: %s\n%s", what, b.text())
}

// press sends keys to whatever has the focus.
func (b *browser) press(keys ...string) {
	b.t.Helper()
	for _, k := range keys {
		b.do(chromedp.KeyEvent(k))
	}
}

// picture lays the page out at a size, light or dark, and sees that it fits. With
// CANTER_PICTURES set to a folder, it leaves a picture there to be looked at.
func (b *browser) picture(name string, width, height int64, dark bool) {
	b.t.Helper()
	scheme := "light"
	if dark {
		scheme, name = "dark", name+"-dark"
	}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
	}); err != nil {
		b.t.Fatal(err)
	}
	b.do(chromedp.EmulateViewport(width, height))
	if os.Getenv("CANTER_PICTURES") != "" {
		time.Sleep(250 * time.Millisecond) // charts are drawn anew after a resize
	}
	if wide := js[float64](b, "document.documentElement.scrollWidth"); wide > float64(width)+1 {
		b.t.Errorf("%s: at %d wide the page is %.0f wide and scrolls sideways", name, width, wide)
	}
	dir := os.Getenv("CANTER_PICTURES")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o600); err != nil {
		b.t.Fatal(err)
	}
}
