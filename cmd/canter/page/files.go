package page

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"canter.example/cmd/canter/parked"
	"canter.example/cmd/canter/report"
	"canter.example/ingest"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

type filesBody struct {
	Viewer  viewer
	Squads  []squadLink
	Today   string
	MaxSize string
	Parked  []parkedRow
	Dropped bool
	// Results are what became of files that were just dropped.
	Results  []dropResult
	Athletes []athleteLink
}

type parkedRow struct {
	ID, Short, Path, Squad, Seen, State string
	Reason                              string
	LetGo                               bool
}

func (p *Page) files(w http.ResponseWriter, r *http.Request, v viewer) error {
	body, err := p.filesBody(r, v)
	if err != nil {
		return err
	}
	return p.show(w, r, v, "files", frame{Title: "Files", Section: "files", Body: body})
}

func (p *Page) filesBody(r *http.Request, v viewer) (filesBody, error) {
	body := filesBody{
		Viewer: v, Squads: p.squadLinks(r.FormValue("squad")), Today: p.localTime(p.cfg.Now(), time.DateOnly),
		MaxSize: sizeWords(p.club.Files.MaxSize), Dropped: r.URL.Query().Get("dropped") != "",
	}
	for i := range p.club.Athletes {
		a := &p.club.Athletes[i]
		body.Athletes = append(body.Athletes, athleteLink{ID: a.ID, Name: p.names.Person(a.ID).Name})
	}
	items, err := p.parked.List(r.Context(), parked.Choice{Dropped: body.Dropped})
	if err != nil {
		return body, err
	}
	for i := len(items) - 1; i >= 0; i-- {
		body.Parked = append(body.Parked, p.parkedRow(&items[i]))
	}
	return body, nil
}

func (p *Page) parkedRow(it *parked.Item) parkedRow {
	row := parkedRow{
		ID: string(it.ID), Short: it.ID.Short(), Path: p.pathWords(it.Origin.Path), Squad: p.squadName(it.Origin.Squad),
		Seen: p.localTime(it.Origin.Seen, bothLayout), State: string(it.State), LetGo: it.State == schemas.FileDropped,
	}
	row.Reason = report.Sentence(p.names.Say(it.Reason))
	return row
}

// pathWords is a file's path as the privacy setting allows: it may hold a name.
func (p *Page) pathWords(path string) string {
	if p.names.Style == club.ShowName {
		return path
	}
	return filepath.Dir(path) + "/… " + filepath.Ext(path)
}

func sizeWords(n int64) string {
	return fmt.Sprintf("%.3g MB", float64(n)/1e6)
}

// retryFile puts a parked file through again, perhaps saying whose it is.
func (p *Page) retryFile(w http.ResponseWriter, r *http.Request, v viewer) error {
	id := schemas.FileID(r.PostFormValue("id"))
	athlete := r.PostFormValue("athlete")
	if athlete != "" && p.club.Athlete(athlete) == nil {
		return badRequest("The club has no such athlete.")
	}
	who := p.who(w, r, v)
	before, _, err := p.cfg.History.File(r.Context(), id)
	if err != nil {
		return err
	}
	why := strings.TrimSpace(r.PostFormValue("why"))
	if err := p.parked.Retry(r.Context(), parked.Retry{File: id, Athlete: athlete, Part: r.PostFormValue("part"), Who: who, Why: why}); err != nil {
		return parkedWrong(err)
	}
	p.cfg.Log.Info("page: file put through again", "file", id.Short(), "who", who, "athlete", athlete)
	return p.fileChanged(w, r, id, before.Version, "retry")
}

// letGo lets go of a parked file.
func (p *Page) letGo(w http.ResponseWriter, r *http.Request, v viewer) error {
	id := schemas.FileID(r.PostFormValue("id"))
	who := p.who(w, r, v)
	before, _, err := p.cfg.History.File(r.Context(), id)
	if err != nil {
		return err
	}
	if err := p.parked.Drop(r.Context(), id, who, r.PostFormValue("why")); err != nil {
		return parkedWrong(err)
	}
	p.cfg.Log.Info("page: file let go", "file", id.Short(), "who", who)
	return p.fileChanged(w, r, id, before.Version, "letgo")
}

func (p *Page) fileChanged(w http.ResponseWriter, r *http.Request, id schemas.FileID, before schemas.Version, saying string) error {
	if !p.eventually(r.Context(), func(ctx context.Context) bool {
		f, ok, err := p.cfg.History.File(ctx, id)
		return err == nil && ok && f.Version > before
	}) {
		saying = "working"
	}
	return back(w, r, "/files", url.Values{"said": {saying}})
}

func parkedWrong(err error) error {
	switch {
	case errors.Is(err, parked.ErrNoReason):
		return badRequest("Say why: it is kept with the change.")
	case errors.Is(err, parked.ErrNoName):
		return badRequest("Say who you are: it is kept with the change.")
	case errors.Is(err, parked.ErrNoFile):
		return notFound("There is no such file.")
	case errors.Is(err, parked.ErrState):
		return badRequest(report.Sentence(err.Error()))
	}
	return err
}

// Limits of one drop.
const (
	mostFiles   = 60
	dropFactor  = 4 // largest files in one drop
	dropAtMost  = 512 << 20
	formAtMost  = 4 << 10 // a field of the form
	longestName = 120     // characters of a file's name
)

// dropResult is what became of a dropped file.
type dropResult struct {
	Name string
	ID   schemas.FileID
	// Wrong is why it was not taken; else State is how far it has come.
	Wrong string
	State string
	Over  bool
}

// drop takes files from the browser and publishes them.
func (p *Page) drop(w http.ResponseWriter, r *http.Request, v viewer) error {
	// A slow connection may take its time, but not for ever.
	c := http.NewResponseController(w)
	_ = c.SetReadDeadline(time.Now().Add(uploadTimeout))
	_ = c.SetWriteDeadline(time.Now().Add(uploadTimeout + answerTimeout))
	r.Body = http.MaxBytesReader(w, r.Body, min(dropFactor*p.club.Files.MaxSize, dropAtMost)+maxForm)
	parts, err := r.MultipartReader()
	if err != nil {
		return badRequest("No files came with the form.")
	}
	results, squad, err := p.takeParts(r.Context(), parts)
	if err != nil {
		return err
	}
	if len(results) == 0 {
		return badRequest("Choose at least one file.")
	}
	p.eventually(r.Context(), func(ctx context.Context) bool { return p.follow(ctx, results) })
	who := v.Name
	for _, x := range results {
		p.cfg.Log.Info("page: file dropped", "file", x.ID.Short(), "squad", squad, "who", who, "state", x.State, "wrong", x.Wrong)
	}
	if r.Header.Get("X-Canter-Part") != "" {
		return p.part(w, "files", "results", results)
	}
	body, err := p.filesBody(r, v)
	if err != nil {
		return err
	}
	body.Results = results
	return p.show(w, r, v, "files", frame{Title: "Files", Section: "files", Body: body})
}

func (p *Page) takeParts(ctx context.Context, parts *multipart.Reader) (results []dropResult, squad string, err error) {
	day := p.localTime(p.cfg.Now(), time.DateOnly)
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return results, squad, nil
		}
		if err != nil {
			return nil, "", badUpload(err)
		}
		switch part.FormName() {
		case "squad", "day":
			b, err := io.ReadAll(io.LimitReader(part, formAtMost))
			if err != nil {
				return nil, "", badUpload(err)
			}
			if part.FormName() == "squad" {
				squad = string(b)
				break
			}
			if _, err := time.Parse(time.DateOnly, string(b)); err == nil {
				day = string(b)
			}
		case "files":
			if part.FileName() == "" {
				break // the form was sent without one
			}
			if len(results) == mostFiles {
				return nil, "", badRequest(fmt.Sprintf("Drop at most %d files at a time. None of the rest was taken.", mostFiles))
			}
			folder := p.folderOf(squad)
			if folder == nil {
				return nil, "", badRequest("Choose the squad that the files belong to.")
			}
			x, err := p.take(ctx, part, squad, day, folder)
			if err != nil {
				return nil, "", err
			}
			results = append(results, x)
		}
		_ = part.Close()
	}
}

func badUpload(err error) error {
	if tooLong, is := errors.AsType[*http.MaxBytesError](err); is {
		return problem{http.StatusRequestEntityTooLarge, fmt.Sprintf("That is too much at once: %s and no more. Drop fewer files at a time.", sizeWords(tooLong.Limit))}
	}
	return badRequest("The files did not arrive whole: try again.")
}

// folderOf is the watched folder whose rules hold for a squad's dropped files.
func (p *Page) folderOf(squad string) *club.Watch {
	for _, w := range p.club.Watched() {
		if squad != "" && w.Squad == squad && p.club.Squad(squad) != nil {
			return &w
		}
	}
	if p.club.Squad(squad) != nil {
		for _, w := range p.club.Watched() {
			if w.Squad == "" {
				return &w
			}
		}
	}
	return nil
}

// take reads one file and publishes it.
func (p *Page) take(ctx context.Context, part *multipart.Part, squad, day string, folder *club.Watch) (dropResult, error) {
	name, wrong := dropName(part.FileName())
	x := dropResult{Name: name}
	if wrong != "" {
		x.Name, x.Wrong, x.Over = "a file", wrong, true
		return x, nil
	}
	p.uploads <- struct{}{}
	defer func() { <-p.uploads }()
	content, err := io.ReadAll(io.LimitReader(part, p.club.Files.MaxSize+1))
	switch {
	case err != nil:
		return x, badUpload(err)
	case int64(len(content)) > p.club.Files.MaxSize:
		x.Wrong, x.Over = "It is larger than "+sizeWords(p.club.Files.MaxSize)+", the limit of the club file (files.max_size).", true
		return x, nil
	case len(content) == 0:
		x.Wrong, x.Over = "It is empty.", true
		return x, nil
	}
	now := p.cfg.Now().UTC()
	origin := schemas.Origin{Folder: folder.Called(), Path: place(folder, squad, day, name), Squad: folder.Squad, Modified: now, Seen: now}
	x.ID, err = ingest.Publish(ctx, p.cfg.Broker, content, origin)
	if err != nil && !errors.Is(err, ingest.ErrRefused) {
		return x, err
	}
	if err != nil {
		x.Wrong, x.Over = report.Sentence(err.Error()), true
	}
	return x, nil
}

// place is where in the folder a file would have lain: as the folder's pattern
// wants it, if day, squad and name can make such a path, else right in it.
func place(folder *club.Watch, squad, day, name string) string {
	for _, path := range []string{name, day + "/" + name, squad + "/" + name, squad + "/" + day + "/" + name} {
		if _, ok := folder.Match(path); ok {
			return path
		}
	}
	return name
}

// dropName is the name of a dropped file, which is whatever a browser, or
// somebody who plays one, sends: the last element, printable, of a sane length.
// wrong says in a sentence why it can't be one.
func dropName(s string) (name, wrong string) {
	if !utf8.ValidString(s) {
		return "", "Its name is not readable: rename it."
	}
	s = strings.ReplaceAll(s, "\\", "/")
	s = s[strings.LastIndexByte(s, '/')+1:]
	s = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || strings.ContainsRune(`:*?"<>|`, r) {
			return '_'
		}
		return r
	}, strings.TrimSpace(s))
	switch {
	case strings.Trim(s, "._ ") == "":
		return "", "It has no name: give it one."
	case utf8.RuneCountInString(s) > longestName:
		return "", fmt.Sprintf("Its name is longer than %d characters: rename it.", longestName)
	case strings.HasPrefix(s, "."):
		s = "_" + s[1:] // a hidden file is nobody's recording
	}
	return s, ""
}

// follow looks how far dropped files have come; true when all are done with.
func (p *Page) follow(ctx context.Context, results []dropResult) bool {
	all := true
	for i := range results {
		x := &results[i]
		if !x.Over {
			x.State, x.Over = p.stateOf(ctx, x.ID)
		}
		all = all && x.Over
	}
	return all
}

// stateOf says what became of a file in words, and whether that is the end.
func (p *Page) stateOf(ctx context.Context, id schemas.FileID) (string, bool) {
	f, ok, err := p.cfg.History.File(ctx, id)
	if err != nil || !ok {
		return "taken; it is being looked at", false
	}
	switch f.State {
	case schemas.FileScored:
		return schemas.Count(f.Tests, "test") + " scored", true
	case schemas.FileTraining:
		return strings.TrimSuffix("no test in it, kept as training: "+p.names.Say(f.Reason), ": "), true
	case schemas.FileSeries:
		return "daily values stored", true
	case schemas.FileParked:
		return "parked: " + p.names.Say(f.Reason), true
	case schemas.FileDropped:
		return "known, and let go of by staff", true
	}
	return string(f.State), true
}

// fileState is the line about one dropped file, for the script that waits.
func (p *Page) fileState(w http.ResponseWriter, r *http.Request, _ viewer) error {
	text, over := p.stateOf(r.Context(), schemas.FileID(r.URL.Query().Get("id")))
	return writeJSON(w, struct {
		State string `json:"state"`
		Over  bool   `json:"over"`
	}{text, over})
}
