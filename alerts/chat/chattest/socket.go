package chattest

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/gorilla/websocket"
)

// socketPath is where apps connect to hear of pressed buttons.
const socketPath = "/socket/"

// View is a dialogue that the app opened.
type View struct {
	ID         string
	CallbackID string
	Metadata   string
	Raw        json.RawMessage
}

// Views returns the dialogues opened so far.
func (s *Server) Views() []View {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]View(nil), s.views...)
}

func (s *Server) openView(f url.Values) answer {
	var v struct {
		Type       string            `json:"type"`
		CallbackID string            `json:"callback_id"`
		Metadata   string            `json:"private_metadata"`
		Blocks     []json.RawMessage `json:"blocks"`
		Title      struct {
			Text string `json:"text"`
		} `json:"title"`
	}
	if f.Get("trigger_id") == "" {
		return refuse("invalid_trigger_id")
	}
	if json.Unmarshal([]byte(f.Get("view")), &v) != nil || v.Type != "modal" || len(v.Blocks) == 0 || len(v.Blocks) > 100 ||
		v.Title.Text == "" || length(v.Title.Text) > 24 || length(v.Metadata) > 3000 {
		return refuse("invalid_arguments")
	}
	view := View{ID: fmt.Sprintf("V%09d", len(s.views)+1), CallbackID: v.CallbackID, Metadata: v.Metadata, Raw: json.RawMessage(f.Get("view"))}
	s.views = append(s.views, view)
	return answer{"ok": true, "view": answer{"id": view.ID, "type": "modal"}}
}

func (s *Server) openSocket(token string) answer {
	if token != AppToken {
		return refuse("not_allowed_token_type")
	}
	if s.http == nil {
		return refuse("internal_error")
	}
	return answer{"ok": true, "url": "ws" + strings.TrimPrefix(s.http.URL, "http") + socketPath + "link"}
}

// ErrNotAcknowledged is returned by [Server.Deliver] when the app says nothing
// within the three seconds that the API gives it.
var ErrNotAcknowledged = errors.New("not acknowledged within 3 s")

// sockets are the connections of apps.
type sockets struct {
	mu    sync.Mutex
	conns []*socket
	next  int
}

type socket struct {
	conn *websocket.Conn
	mu   sync.Mutex
	acks map[string]chan json.RawMessage
}

func (k *sockets) serve(w http.ResponseWriter, r *http.Request) {
	up := websocket.Upgrader{CheckOrigin: func(*http.Request) bool { return true }}
	conn, err := up.Upgrade(w, r, nil)
	if err != nil {
		return
	}
	c := &socket{conn: conn, acks: map[string]chan json.RawMessage{}}
	if c.write([]byte(`{"type":"hello","num_connections":1,"connection_info":{"app_id":"A000000001"}}`)) != nil {
		return
	}
	k.mu.Lock()
	k.conns = append(k.conns, c)
	k.mu.Unlock()
	c.read()
	k.mu.Lock()
	defer k.mu.Unlock()
	for i := range k.conns {
		if k.conns[i] == c {
			k.conns = append(k.conns[:i], k.conns[i+1:]...)
			break
		}
	}
}

func (k *sockets) close() {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, c := range k.conns {
		_ = c.conn.Close()
	}
	k.conns = nil // at once, not when their readers notice
}

func (c *socket) write(b []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.conn.WriteMessage(websocket.TextMessage, b)
}

func (c *socket) read() {
	defer func() { _ = c.conn.Close() }()
	for {
		_, b, err := c.conn.ReadMessage()
		if err != nil {
			return
		}
		var ack struct {
			Envelope string          `json:"envelope_id"`
			Payload  json.RawMessage `json:"payload"`
		}
		if json.Unmarshal(b, &ack) != nil {
			continue
		}
		c.mu.Lock()
		if ch := c.acks[ack.Envelope]; ch != nil {
			ch <- ack.Payload
			delete(c.acks, ack.Envelope)
		}
		c.mu.Unlock()
	}
}

// Connected returns how many apps are connected.
func (s *Server) Connected() int {
	s.sockets.mu.Lock()
	defer s.sockets.mu.Unlock()
	return len(s.sockets.conns)
}

// Disconnect cuts all connections of apps, as the API does now and then.
func (s *Server) Disconnect() { s.sockets.close() }

// Deliver hands an interaction, as JSON, to one of the connected apps and
// returns what it acknowledged with. Connections take turns.
func (s *Server) Deliver(payload []byte) (json.RawMessage, error) {
	s.sockets.mu.Lock()
	if len(s.sockets.conns) == 0 {
		s.sockets.mu.Unlock()
		return nil, errors.New("no app is connected")
	}
	s.sockets.next++
	c := s.sockets.conns[s.sockets.next%len(s.sockets.conns)]
	id := fmt.Sprintf("envelope-%d", s.sockets.next)
	s.sockets.mu.Unlock()
	ch := make(chan json.RawMessage, 1)
	c.mu.Lock()
	c.acks[id] = ch
	c.mu.Unlock()
	if err := c.write(fmt.Appendf(nil, `{"envelope_id":%q,"type":"interactive","accepts_response_payload":true,"payload":%s}`, id, payload)); err != nil {
		return nil, err
	}
	select {
	case ack := <-ch:
		return ack, nil
	case <-time.After(3 * time.Second):
		return nil, ErrNotAcknowledged
	}
}
