package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/chromedp"
)

// accessible checks of the page at hand what can be checked without people: the
// browser's own accessibility tree has a name for all that can be used or looked
// at, there is one main heading, no id twice, and all text has the contrast of
// WCAG 2.2 level AA (4.5 to 1, large text 3 to 1).
func (b *browser) accessible(page string) {
	b.t.Helper()
	named := []string{"button", "link", "textbox", "spinbutton", "combobox", "radio", "checkbox", "image", "img", "region", "navigation", "Date", "DisclosureTriangle"}
	tree, err := chromedp.Call(b.ctx, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
	if err != nil {
		b.t.Fatal(err)
	}
	links := 0
	for _, n := range tree.Nodes {
		if n.Ignored || n.Role == nil {
			continue
		}
		role := strings.Trim(string(n.Role.Value), `"`)
		if role == "link" {
			links++
		}
		if slices.Contains(named, role) && (n.Name == nil || strings.Trim(string(n.Name.Value), `" `) == "") {
			b.t.Errorf("%s: a %s without a name (node %d)", page, role, n.BackendDOMNodeID)
		}
	}
	if links < 3 && page != "sign-in" {
		b.t.Errorf("%s: only %d links in the accessibility tree", page, links)
	}
	for _, complaint := range js[[]string](b, lookForTrouble) {
		b.t.Errorf("%s: %s", page, complaint)
	}
}

// axe holds the page at hand to the rules of axe-core.
func (b *browser) axe(page string) {
	b.t.Helper()
	for _, complaint := range b.axeSays(page) {
		b.t.Errorf("%s: %s", page, complaint)
	}
}

// axeSays is what breaks the rules of axe-core (npm, MPL-2.0) for WCAG 2.0 to
// 2.2, levels A and AA. .ci/needs installs it; that it is missing fails the test.
func (b *browser) axeSays(page string) []string {
	b.t.Helper()
	rules, err := axeRules()
	if err != nil {
		b.t.Fatal(err)
	}
	if !js[bool](b, "Boolean(window.axe)") {
		js[bool](b, rules+"\n;Boolean(window.axe)")
	}
	js[bool](b, `window.axeSaid = null; axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"], resultTypes: ["violations"]})
		.then(r => { window.axeSaid = {passed: r.passes.length, bad: r.violations.flatMap(v => v.nodes.map(n => v.id + ": " + n.html.slice(0, 120) + ": " + n.failureSummary.replace(/\s+/g, " ")))}; },
			e => { window.axeSaid = {passed: 0, bad: ["axe-core: " + e.message]}; }); true`)
	b.until("axe-core is done", "window.axeSaid")
	if passed := js[int](b, "window.axeSaid.passed"); passed < 8 {
		b.t.Errorf("%s: only %d rules of axe-core found anything to look at", page, passed)
	}
	return js[[]string](b, "window.axeSaid.bad")
}

// axeRules is the script of axe-core.
var axeRules = sync.OnceValues(func() (string, error) {
	version, err := os.ReadFile(filepath.Join("testdata", "axe", "version"))
	if err != nil {
		return "", err
	}
	folder := os.Getenv("CANTER_AXE")
	if folder == "" {
		cache, err := os.UserCacheDir()
		if err != nil {
			return "", err
		}
		folder = filepath.Join(cache, "canter", "axe-core-"+strings.TrimSpace(string(version)))
	}
	script, err := os.ReadFile(filepath.Join(folder, "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		return "", fmt.Errorf("this test needs the npm package axe-core (sh .ci/needs installs it; another folder: set CANTER_AXE): %w", err)
	}
	return string(script), nil
})

// lookForTrouble is a script that returns complaints.
const lookForTrouble = `(() => {
  const bad = [];
  const h1 = document.querySelectorAll("h1").length;
  if (h1 !== 1) bad.push(h1 + " main headings");
  if (!document.documentElement.lang) bad.push("no language");
  let last = 1;
  document.querySelectorAll("h1,h2,h3,h4").forEach(h => {
    const n = Number(h.tagName[1]);
    if (n > last + 1) bad.push("heading " + h.textContent + " skips a level");
    last = n;
  });
  const ids = new Set();
  document.querySelectorAll("[id]").forEach(e => { if (ids.has(e.id)) bad.push("id twice: " + e.id); ids.add(e.id); });
  document.querySelectorAll("[aria-labelledby],[aria-describedby]").forEach(e => {
    for (const a of ["aria-labelledby", "aria-describedby"]) (e.getAttribute(a) || "").split(/\s+/).filter(Boolean).forEach(id => { if (!ids.has(id)) bad.push(a + " names nothing: " + id); });
  });
  const light = c => { const v = c.map(x => { x /= 255; return x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4; }); return 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2]; };
  const parse = s => (s.match(/[\d.]+/g) || [0, 0, 0, 0]).map(Number);
  const under = e => { for (let n = e; n; n = n.parentElement) { const c = parse(getComputedStyle(n).backgroundColor); if (c.length < 4 || c[3] > 0.99) return c; } return [255, 255, 255]; };
  const seen = new Set();
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement, s = getComputedStyle(e);
    if (!walk.currentNode.textContent.trim() || !e.checkVisibility() || e.closest("svg,script,style")) continue;
    const a = light(parse(s.color)), c = light(under(e)), ratio = (Math.max(a, c) + 0.05) / (Math.min(a, c) + 0.05);
    const large = parseFloat(s.fontSize) >= 24 || parseFloat(s.fontSize) >= 18.66 && Number(s.fontWeight) >= 700;
    const what = "contrast " + ratio.toFixed(2) + " of " + walk.currentNode.textContent.trim().slice(0, 30);
    if (ratio < (large ? 3 : 4.5) && !seen.has(what)) { seen.add(what); bad.push(what); }
  }
  document.querySelectorAll("button,select,input:not([type=hidden]):not([type=radio]):not([type=checkbox]),nav a,.choices a").forEach(e => {
    const r = e.getBoundingClientRect();
    if (e.checkVisibility() && (r.height < 24 || r.width < 24)) bad.push("too small to touch: " + (e.textContent || e.name) + " " + r.width + " x " + r.height);
  });
  return bad;
})()`
