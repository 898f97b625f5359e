package chattest

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

// uploadPath is where files are sent to: on the server's own address, as the
// client sends its token nowhere else.
const uploadPath = "/upload/"

// Uploads returns how many files were asked for and never shown.
func (s *Server) Uploads() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.uploads)
}

func (s *Server) uploadURL(f url.Values) answer {
	length, err := strconv.Atoi(f.Get("length"))
	if err != nil || length <= 0 || f.Get("filename") == "" || len([]rune(f.Get("alt_txt"))) > 1000 {
		return refuse("invalid_arguments")
	}
	id := fmt.Sprintf("F%09d", s.calls["files.getUploadURLExternal"])
	s.uploads[id] = &File{ID: id, Name: f.Get("filename"), Alt: f.Get("alt_txt"), Content: make([]byte, 0, length)}
	return answer{"ok": true, "upload_url": strings.TrimSuffix(s.URL(), "/api/") + uploadPath + id, "file_id": id}
}

// receive takes the bytes of a file, in the form's field file.
func (s *Server) receive(w http.ResponseWriter, r *http.Request, id string) {
	part, _, err := r.FormFile("file")
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	content, err := io.ReadAll(part)
	s.mu.Lock()
	defer s.mu.Unlock()
	f := s.uploads[id]
	if err != nil || f == nil || cap(f.Content) != len(content) {
		http.Error(w, "no such upload, or another length than was said", http.StatusBadRequest)
		return
	}
	f.Content = content
	// Nobody to tell when the client has gone.
	_, _ = fmt.Fprintf(w, "OK - %d", len(content))
}

func (s *Server) completeUpload(f url.Values) (a answer, wait time.Duration) {
	var files []struct {
		ID    string `json:"id"`
		Title string `json:"title"`
	}
	if json.Unmarshal([]byte(f.Get("files")), &files) != nil || len(files) == 0 {
		return refuse("invalid_arguments"), 0
	}
	c, ok := s.find(f.Get("channel_id"), false)
	switch {
	case !ok || c.Private && !c.Member:
		return refuse("channel_not_found"), 0
	case c.Archived:
		return refuse("is_archived"), 0
	case !c.Member:
		return refuse("not_in_channel"), 0
	}
	p := Post{Channel: c, Text: f.Get("initial_comment"), ThreadTS: f.Get("thread_ts")}
	if length(p.Text) > maxText {
		return refuse("msg_too_long"), 0
	}
	if p.ThreadTS != "" && !slices.ContainsFunc(s.posts, func(q Post) bool { return q.Channel.ID == c.ID && q.TS == p.ThreadTS }) {
		return refuse("thread_not_found"), 0
	}
	done := []answer{}
	for _, x := range files {
		u := s.uploads[x.ID]
		if u == nil || len(u.Content) == 0 {
			return refuse("file_not_found"), 0
		}
		u.Title = x.Title
		p.Files = append(p.Files, *u)
		done = append(done, answer{"id": x.ID, "title": x.Title})
	}
	if wait := s.keep(&p); wait > 0 {
		return nil, wait
	}
	for _, x := range files {
		delete(s.uploads, x.ID)
	}
	return answer{"ok": true, "files": done}, 0
}

// update changes a message of the app's own.
func (s *Server) update(f url.Values) answer {
	for i := range s.posts {
		p := &s.posts[i]
		if p.Channel.ID != f.Get("channel") || p.TS != f.Get("ts") {
			continue
		}
		q := *p
		q.Text = f.Get("text")
		if code := q.read(f.Get("blocks"), f.Get("metadata")); code != "" {
			return refuse(code)
		}
		q.Edits++
		*p = q
		return answer{"ok": true, "channel": p.Channel.ID, "ts": p.TS, "text": p.Text}
	}
	return refuse("message_not_found")
}

// AddPerson adds somebody who may be written to.
func (s *Server) AddPerson(user string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.people = append(s.people, user)
}

// open answers with the conversation that the app has with one person.
func (s *Server) open(f url.Values) answer {
	user := f.Get("users")
	if !slices.Contains(s.people, user) {
		return refuse("user_not_found")
	}
	id := "D" + strings.TrimLeft(user, "UW")
	if _, ok := s.find(id, false); !ok {
		s.channels = append(s.channels, Channel{ID: id, Name: user, Private: true, Member: true})
	}
	return answer{"ok": true, "channel": answer{"id": id}}
}

// Aside is a message that one person alone sees.
type Aside struct{ Channel, User, Text string }

// Asides returns all messages that one person alone has seen.
func (s *Server) Asides() []Aside {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.asides)
}

func (s *Server) aside(f url.Values) answer {
	if f.Get("text") == "" || f.Get("user") == "" {
		return refuse("no_text")
	}
	s.asides = append(s.asides, Aside{f.Get("channel"), f.Get("user"), f.Get("text")})
	return answer{"ok": true, "message_ts": "1.000001"}
}
