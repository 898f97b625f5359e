package page

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"
	"unicode"

	"canter.example/alerts/message"
)

//go:embed templates static
var files embed.FS

// staticFiles serves scripts and styles. They hold nothing of the club, so
// browsers may keep them for as long as the program is the same.
func staticFiles() http.Handler {
	sub, err := fs.Sub(files, "static")
	if err != nil {
		panic("page: embedded files: " + err.Error()) // a defect every test would show
	}
	serve := http.StripPrefix("/static/", http.FileServerFS(sub))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/") {
			http.NotFound(w, r) // no listing
			return
		}
		w.Header().Set("Cache-Control", "no-cache")
		serve.ServeHTTP(w, r)
	})
}

// frame is what every page has.
type frame struct {
	// Title of the page; Section is the part of the menu it belongs to.
	Title, Section string
	Club           string
	Viewer         viewer
	// NeedsSignIn tells the menu whether there is somebody to sign out.
	NeedsSignIn bool
	Caution     string
	// Said is what became of what was just done, "" for nothing.
	Said string
	Body any
}

// templates are the pages by name, each with the layout around it. They are read
// when the first page is asked for: most commands of the program show none.
var templates = sync.OnceValue(func() map[string]*template.Template {
	funcs := template.FuncMap{"q": func(v any) string { return url.QueryEscape(fmt.Sprint(v)) }}
	names, err := fs.Glob(files, "templates/*.html")
	if err != nil {
		panic("page: embedded templates: " + err.Error())
	}
	shared := template.Must(template.New("").Funcs(funcs).ParseFS(files, "templates/layout.html", "templates/parts.html"))
	out := map[string]*template.Template{}
	for _, n := range names {
		name := strings.TrimSuffix(strings.TrimPrefix(n, "templates/"), ".html")
		out[name] = template.Must(template.Must(shared.Clone()).ParseFS(files, n))
	}
	return out
})

// render writes a page whole or not at all.
func (p *Page) render(w http.ResponseWriter, status int, name string, f frame) {
	f.Club, f.Caution, f.NeedsSignIn = p.club.Name, message.Caution, p.access.users != nil
	p.write(w, status, name, "layout", f)
}

// part writes a piece of a page, for a script to put in.
func (p *Page) part(w http.ResponseWriter, name, part string, body any) error {
	p.write(w, http.StatusOK, name, part, body)
	return nil
}

func (p *Page) write(w http.ResponseWriter, status int, name, part string, data any) {
	var b bytes.Buffer
	if err := templates()[name].ExecuteTemplate(&b, part, data); err != nil {
		p.cfg.Log.Error("page: template", "name", name, "err", err)
		http.Error(w, "The page could not be made; the service's log says why.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes())
}

// show renders a page that is found.
func (p *Page) show(w http.ResponseWriter, r *http.Request, v viewer, name string, f frame) error {
	f.Viewer = v
	if said := r.URL.Query().Get("said"); said != "" {
		f.Said = sayings[said]
	}
	p.render(w, http.StatusOK, name, f)
	return nil
}

// sayings are what a page may say of what was just done, by the word in its
// address: nobody can put words of their own into the page through a link.
var sayings = map[string]string{
	"saved":   "Saved, and worked in: the numbers are the new ones.",
	"working": "Saved. It is still being worked in; ask for the page again in a moment.",
	"note":    "Noted.",
	"retry":   "Put through again.",
	"letgo":   "Let go of; nobody is asked about it again.",
}

// back sends the browser on after a change, so that asking for the page again
// changes nothing twice.
func back(w http.ResponseWriter, r *http.Request, path string, query url.Values) error {
	http.Redirect(w, r, path+"?"+query.Encode(), http.StatusSeeOther)
	return nil
}

// localTime writes a time as people at the club read it.
func (p *Page) localTime(t time.Time, layout string) string {
	if t.IsZero() {
		return ""
	}
	return t.In(p.zone()).Format(layout)
}

const (
	dayLayout  = "Mon 2 Jan 2006"
	timeLayout = "15:04:05"
	bothLayout = "2 Jan 2006 15:04"
)

func (p *Page) zone() *time.Location {
	if p.club.Zone == nil {
		return time.UTC
	}
	return p.club.Zone
}

// cleanName is a name as somebody gave it, without what can't be printed.
func cleanName(s string) string {
	s = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, strings.TrimSpace(s))
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60])
	}
	return strings.TrimSpace(s)
}

// minutes writes seconds since the start as minutes and seconds.
func minutes(s int) string {
	sign := ""
	if s < 0 {
		sign, s = "−", -s
	}
	return fmt.Sprintf("%s%d:%02d", sign, s/60, s%60)
}
