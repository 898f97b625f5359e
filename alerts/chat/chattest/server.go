package chattest

import (
	"cmp"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Token is the only bot's token that the server knows, AppToken the only app's.
const (
	Token    = "test-token-of-nobody"
	AppToken = "xapp-test-token-of-nobody" //nolint:gosec // of nobody
)

// Options set up a server. The zero value is one with no channels.
type Options struct {
	// Channels by name, all public with the app as a member. See AddChannel
	// for others.
	Channels []string
	// Now tells the time, nil for the system's clock.
	Now func() time.Time
	// Pace, when set, is the least time between two posts in a channel:
	// sooner ones are answered with status 429.
	Pace time.Duration
	// Scopes are announced in the header; empty for none announced.
	Scopes string
	// MaxHistory bounds the messages of one answer, whatever is asked for; 0 is 1000.
	MaxHistory int
}

// Channel is a place to post to.
type Channel struct {
	ID       string
	Name     string
	Private  bool
	Archived bool
	// Member is whether the app is in it.
	Member bool
}

// Post is a message as the server keeps it.
type Post struct {
	Channel  Channel
	TS       string
	ThreadTS string
	// Text is the fallback text and Sections the blocks', as sent (escaped).
	Text     string
	Sections []string
	// ID and Page are from the metadata's payload, EventType is its type.
	ID        string
	Page      int
	EventType string
	// Buttons under the sections, in order; Files are what is shown with the
	// text; Edits counts how often the message was changed.
	Buttons []Button
	Files   []File
	Edits   int

	at       time.Time
	metadata json.RawMessage
	blocks   json.RawMessage
}

// Plain returns the whole text of the message as people read it.
func (p Post) Plain() string {
	text := strings.Join(p.Sections, "\n")
	if len(p.Sections) == 0 {
		text = p.Text // a file's comment has no sections
	}
	return strings.NewReplacer("&lt;", "<", "&gt;", ">", "&amp;", "&").Replace(text)
}

// Button is a button as sent.
type Button struct {
	BlockID, ActionID, Value, Label string
	// Under is the section that it stands under, from 0.
	Under int
}

// File is a file as shown.
type File struct {
	ID, Name, Title, Alt string
	Content              []byte
}

// Server is the chat. Its methods may be called from several goroutines.
type Server struct {
	opts Options
	http *httptest.Server

	mu       sync.Mutex
	channels []Channel
	posts    []Post
	last     map[string]time.Time
	lastTS   time.Time
	faults   []*Fault
	calls    map[string]int
	quit     chan struct{}
	// uploads are files that were asked for and are not shown yet.
	uploads map[string]*File
	views   []View
	asides  []Aside
	people  []string
	sockets sockets
}

// New returns a server that is reached through [Server.Client] only.
func New(o Options) *Server {
	if o.Now == nil {
		o.Now = time.Now //nolint:forbidigo // A server for tests has a clock like any other.
	}
	s := &Server{opts: o, last: map[string]time.Time{}, calls: map[string]int{}, quit: make(chan struct{}), uploads: map[string]*File{}}
	for _, name := range o.Channels {
		s.AddChannel(Channel{Name: name, Member: true})
	}
	return s
}

// Start returns a server that listens on a free port of the loopback
// interface. Close it when done.
func Start(o Options) *Server {
	s := New(o)
	s.http = httptest.NewServer(s)
	return s
}

// URL is the Web API's address, with the final slash.
func (s *Server) URL() string {
	if s.http == nil {
		return "http://chat.invalid/api/"
	}
	return s.http.URL + "/api/"
}

// Client returns a client that calls the server without a network.
func (s *Server) Client() *http.Client { return &http.Client{Transport: direct{s}} }

// Close lets hanging calls go and stops listening.
func (s *Server) Close() {
	s.mu.Lock()
	select {
	case <-s.quit:
	default:
		close(s.quit)
	}
	s.mu.Unlock()
	s.sockets.close()
	if s.http != nil {
		s.http.CloseClientConnections()
		s.http.Close()
	}
}

// AddChannel adds a channel, with an id of its own when it has none, and
// returns the id.
func (s *Server) AddChannel(c Channel) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if c.ID == "" {
		c.ID = fmt.Sprintf("C%09d", len(s.channels)+1)
	}
	s.channels = append(s.channels, c)
	return c.ID
}

// Posted returns all messages in order of posting.
func (s *Server) Posted() []Post {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.posts)
}

// Calls returns how often a method was called.
func (s *Server) Calls(method string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.calls[method]
}

// Delete removes a message, as a member of staff might.
func (s *Server) Delete(ts string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.posts = slices.DeleteFunc(s.posts, func(p Post) bool { return p.TS == ts })
}

// answer is a JSON object of the Web API.
type answer map[string]any

func refuse(code string) answer { return answer{"ok": false, "error": code} }

// ServeHTTP answers one call.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	method := r.URL.Path[strings.LastIndexByte(r.URL.Path, '/')+1:]
	switch {
	case strings.HasPrefix(r.URL.Path, socketPath):
		s.sockets.serve(w, r)
		return
	case strings.HasPrefix(r.URL.Path, uploadPath):
		if fault := s.begin("upload"); fault != nil {
			s.fail(w, r, fault)
			return
		}
		s.receive(w, r, method)
		return
	}
	if err := r.ParseForm(); err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	if strings.HasPrefix(r.Header.Get("Content-Type"), "application/json") {
		fromJSON(r)
	}
	fault := s.begin(method)
	if fault != nil && !fault.Kept {
		s.fail(w, r, fault)
		return
	}
	a, wait := s.handle(method, r)
	switch {
	case fault != nil:
		s.fail(w, r, fault)
	case wait > 0:
		w.Header().Set("Retry-After", strconv.Itoa(seconds(wait)))
		w.WriteHeader(http.StatusTooManyRequests)
	default:
		if method == "auth.test" && s.opts.Scopes != "" {
			w.Header().Set("X-OAuth-Scopes", s.opts.Scopes)
		}
		write(w, a)
	}
}

// fromJSON puts the keys of a JSON body where those of a form would be; what is
// no text stays JSON.
func fromJSON(r *http.Request) {
	var body map[string]json.RawMessage
	if json.NewDecoder(r.Body).Decode(&body) != nil {
		return
	}
	for k, v := range body {
		var text string
		if json.Unmarshal(v, &text) != nil {
			text = string(v)
		}
		r.PostForm.Set(k, text)
	}
}

// begin counts a call and returns the fault that is due, nil for none.
func (s *Server) begin(method string) *Fault {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.calls[method]++
	for i, f := range s.faults {
		if f.Method != "" && f.Method != method {
			continue
		}
		if f.Skip > 0 {
			f.Skip--
			continue
		}
		switch {
		case f.Times < 0:
		case f.Times <= 1:
			s.faults = slices.Delete(s.faults, i, i+1)
		default:
			f.Times--
		}
		return f
	}
	return nil
}

// handle does what a method does. A wait above 0 means: too early.
func (s *Server) handle(method string, r *http.Request) (a answer, wait time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	token := cmp.Or(strings.TrimPrefix(r.Header.Get("Authorization"), "Bearer "), r.PostForm.Get("token"))
	switch {
	case token == "":
		return refuse("not_authed"), 0
	case token != Token && (token != AppToken || method != "apps.connections.open"):
		return refuse("invalid_auth"), 0
	}
	switch method {
	case "auth.test":
		return answer{"ok": true, "url": s.URL(), "team": "Rivermeet", "user": "canter", "team_id": "T000000001", "user_id": "U000000001", "bot_id": "B000000001"}, 0
	case "chat.postMessage":
		return s.postMessage(r.PostForm)
	case "conversations.history":
		return s.history(r.PostForm), 0
	case "conversations.replies":
		return s.replies(r.PostForm), 0
	case "conversations.list":
		return s.list(r.PostForm), 0
	case "conversations.info":
		return s.info(r.PostForm), 0
	case "conversations.open":
		return s.open(r.PostForm), 0
	case "chat.update":
		return s.update(r.PostForm), 0
	case "chat.postEphemeral":
		return s.aside(r.PostForm), 0
	case "files.getUploadURLExternal":
		return s.uploadURL(r.PostForm), 0
	case "files.completeUploadExternal":
		return s.completeUpload(r.PostForm)
	case "apps.connections.open":
		return s.openSocket(token), 0
	case "views.open":
		return s.openView(r.PostForm), 0
	default:
		return refuse("unknown_method"), 0
	}
}

func write(w http.ResponseWriter, a answer) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	// The status is sent; a client that has gone can't be told anything.
	_ = json.NewEncoder(w).Encode(a)
}

// seconds rounds up, as the header holds whole seconds.
func seconds(d time.Duration) int { return int((d + time.Second - 1) / time.Second) }
