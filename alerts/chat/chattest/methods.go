package chattest

import (
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
)

// Limits as the Web API keeps them: documented for sections and blocks,
// measured for the sum (refused from about 13,200 characters).
const (
	maxSection = 3000
	maxBlocks  = 50
	maxSum     = 13200
	maxText    = 40000
)

// find returns a channel by id, or by name where byName allows it.
func (s *Server) find(ref string, byName bool) (Channel, bool) {
	i := slices.IndexFunc(s.channels, func(c Channel) bool {
		return c.ID == ref || byName && c.Name == strings.TrimPrefix(ref, "#")
	})
	if i < 0 {
		return Channel{}, false
	}
	return s.channels[i], true
}

func (s *Server) postMessage(f url.Values) (a answer, wait time.Duration) {
	c, ok := s.find(f.Get("channel"), true)
	switch {
	case !ok || c.Private && !c.Member:
		return refuse("channel_not_found"), 0
	case c.Archived:
		return refuse("is_archived"), 0
	case !c.Member:
		return refuse("not_in_channel"), 0
	}
	p := Post{Channel: c, Text: f.Get("text"), ThreadTS: f.Get("thread_ts")}
	if code := p.read(f.Get("blocks"), f.Get("metadata")); code != "" {
		return refuse(code), 0
	}
	if p.ThreadTS != "" && !slices.ContainsFunc(s.posts, func(q Post) bool { return q.Channel.ID == c.ID && q.TS == p.ThreadTS }) {
		return refuse("thread_not_found"), 0
	}
	if wait := s.keep(&p); wait > 0 {
		return nil, wait
	}
	return answer{"ok": true, "channel": c.ID, "ts": p.TS, "message": p.message(true)}, 0
}

// keep puts a post into its channel. A wait above 0 means: too early.
func (s *Server) keep(p *Post) (wait time.Duration) {
	p.at = s.opts.Now()
	if s.opts.Pace > 0 {
		if wait := s.last[p.Channel.ID].Add(s.opts.Pace).Sub(p.at); wait > 0 {
			return wait
		}
		s.last[p.Channel.ID] = p.at
	}
	// A ts is unique and ascending, whatever the clock does.
	stamp := p.at.Truncate(time.Microsecond)
	if !stamp.After(s.lastTS) {
		stamp = s.lastTS.Add(time.Microsecond)
	}
	s.lastTS = stamp
	p.TS = fmt.Sprintf("%d.%06d", stamp.Unix(), stamp.Nanosecond()/1000)
	s.posts = append(s.posts, *p)
	return 0
}

// block is what the server looks at of a block.
type block struct {
	Type    string `json:"type"`
	BlockID string `json:"block_id"`
	Text    struct {
		Text string `json:"text"`
	} `json:"text"`
	Elements []struct {
		Type     string `json:"type"`
		ActionID string `json:"action_id"`
		Value    string `json:"value"`
		Text     struct {
			Text string `json:"text"`
		} `json:"text"`
	} `json:"elements"`
}

// read takes in blocks and metadata; it returns the code of what is wrong.
func (p *Post) read(blocks, metadata string) string {
	var bs []block
	if blocks != "" {
		if json.Unmarshal([]byte(blocks), &bs) != nil || len(bs) > maxBlocks {
			return "invalid_blocks"
		}
		p.blocks = json.RawMessage(blocks)
	}
	sum := length(p.Text)
	if sum > maxText {
		return "msg_too_long"
	}
	p.Sections, p.Buttons = nil, nil
	ids := map[string]bool{}
	for _, b := range bs {
		if b.BlockID != "" && ids[b.BlockID] {
			return "invalid_blocks"
		}
		ids[b.BlockID] = true
		switch b.Type {
		case "section":
			n := length(b.Text.Text)
			if n == 0 || n > maxSection {
				return "invalid_blocks"
			}
			sum += n
			p.Sections = append(p.Sections, b.Text.Text)
		case "actions":
			if code := p.readButtons(&b); code != "" {
				return code
			}
		}
	}
	switch {
	case sum == 0:
		return "no_text"
	case sum > maxSum:
		return "msg_blocks_too_long"
	}
	return p.readMetadata(metadata)
}

// readButtons takes in a block of buttons, within the limits documented for
// them.
func (p *Post) readButtons(b *block) string {
	ids := map[string]bool{}
	if len(b.Elements) == 0 || len(b.Elements) > 25 {
		return "invalid_blocks"
	}
	for _, e := range b.Elements {
		if e.Type != "button" || e.ActionID == "" || ids[e.ActionID] || length(e.ActionID) > 255 || length(e.Value) > 2000 || e.Text.Text == "" || length(e.Text.Text) > 75 {
			return "invalid_blocks"
		}
		ids[e.ActionID] = true
		p.Buttons = append(p.Buttons, Button{BlockID: b.BlockID, ActionID: e.ActionID, Value: e.Value, Label: e.Text.Text, Under: len(p.Sections) - 1})
	}
	return ""
}

func (p *Post) readMetadata(metadata string) string {
	if metadata == "" {
		return ""
	}
	var m struct {
		EventType    string `json:"event_type"`
		EventPayload struct {
			ID   string `json:"id"`
			Page int    `json:"page"`
		} `json:"event_payload"`
	}
	if json.Unmarshal([]byte(metadata), &m) != nil || m.EventType == "" {
		return "invalid_metadata_format"
	}
	p.metadata = json.RawMessage(metadata)
	p.EventType, p.ID, p.Page = m.EventType, m.EventPayload.ID, m.EventPayload.Page
	return ""
}

// message is the post as an answer holds it.
func (p *Post) message(withMetadata bool) answer {
	a := answer{"type": "message", "ts": p.TS, "text": p.Text, "bot_id": "B000000001", "user": "U000000001"}
	if p.ThreadTS != "" {
		a["thread_ts"] = p.ThreadTS
	}
	if p.blocks != nil {
		a["blocks"] = p.blocks
	}
	if len(p.Files) > 0 {
		var files []answer
		for _, f := range p.Files {
			files = append(files, answer{"id": f.ID, "name": f.Name, "title": f.Title, "alt_txt": f.Alt})
		}
		a["files"] = files
	}
	if withMetadata && p.metadata != nil {
		a["metadata"] = p.metadata
	}
	return a
}

// history answers with a channel's messages, newest first, without answers in
// threads.
func (s *Server) history(f url.Values) answer {
	return s.page(f, func(p Post) bool { return p.ThreadTS == "" }, true)
}

// replies answers with a thread, its first message included, oldest first.
func (s *Server) replies(f url.Values) answer {
	root := f.Get("ts")
	if !slices.ContainsFunc(s.posts, func(p Post) bool { return p.TS == root }) {
		return refuse("thread_not_found")
	}
	return s.page(f, func(p Post) bool { return p.TS == root || p.ThreadTS == root }, false)
}

func (s *Server) page(f url.Values, want func(Post) bool, newestFirst bool) answer {
	c, ok := s.find(f.Get("channel"), false)
	switch {
	case !ok:
		return refuse("channel_not_found")
	case !c.Member:
		return refuse("not_in_channel")
	}
	var found []Post
	for _, p := range s.posts {
		late := f.Get("oldest") == "" || p.TS > f.Get("oldest") || f.Get("inclusive") == "1" && p.TS == f.Get("oldest")
		early := f.Get("latest") == "" || p.TS < f.Get("latest")
		// The first message of a thread is given whatever its age.
		if p.Channel.ID == c.ID && want(p) && (late && early || p.TS == f.Get("ts")) {
			found = append(found, p)
		}
	}
	if newestFirst {
		slices.Reverse(found)
	}
	from, to, next := s.slice(f, len(found))
	msgs := []answer{}
	for i := range found[from:to] {
		msgs = append(msgs, found[from+i].message(f.Get("include_all_metadata") == "1"))
	}
	return answer{"ok": true, "messages": msgs, "has_more": next != "", "response_metadata": answer{"next_cursor": next}}
}

// slice returns which of n things an answer holds, and the cursor of the rest.
func (s *Server) slice(f url.Values, n int) (from, to int, next string) {
	limit := 100
	if l, err := strconv.Atoi(f.Get("limit")); err == nil && l > 0 {
		limit = l
	}
	if s.opts.MaxHistory > 0 {
		limit = min(limit, s.opts.MaxHistory)
	}
	from, err := strconv.Atoi(strings.TrimPrefix(f.Get("cursor"), "after"))
	if err != nil || from < 0 || from > n {
		from = 0
	}
	to = min(n, from+limit)
	if to < n {
		next = "after" + strconv.Itoa(to)
	}
	return from, to, next
}

func (s *Server) list(f url.Values) answer {
	var seen []answer
	for _, c := range s.channels {
		if (!c.Private || c.Member) && !(c.Archived && f.Get("exclude_archived") == "true") {
			seen = append(seen, c.channel())
		}
	}
	from, to, next := s.slice(f, len(seen))
	return answer{"ok": true, "channels": seen[from:to], "response_metadata": answer{"next_cursor": next}}
}

func (s *Server) info(f url.Values) answer {
	c, ok := s.find(f.Get("channel"), false)
	if !ok || c.Private && !c.Member {
		return refuse("channel_not_found")
	}
	return answer{"ok": true, "channel": c.channel()}
}

func (c Channel) channel() answer {
	return answer{"id": c.ID, "name": c.Name, "is_channel": true, "is_private": c.Private, "is_archived": c.Archived, "is_member": c.Member}
}

// length counts UTF-16 units, the strictest way of counting characters.
func length(text string) int { return len(utf16.Encode([]rune(text))) }
