package page

import (
	"slices"
	"strings"

	"canter.example/schemas/club"
)

// calledNow puts the names of the page into texts that were written for chat,
// which may call athletes otherwise: the page has one style throughout. A chat
// name counts only where messages put names, at the start of a line or of an
// item of a list, with nothing but punctuation behind it: initials can be
// ordinary words (SD, MD) elsewhere. One that several athletes share stays.
type calledNow struct {
	names []renamed
}

type renamed struct{ chat, page string }

func newCalledNow(c *club.Club) *calledNow {
	n := &calledNow{}
	if c.Privacy.ChatNames == c.Privacy.PageNames {
		return n
	}
	count := map[string]int{}
	for i := range c.Athletes {
		a := &c.Athletes[i]
		chat := club.Called(a, a.ID, c.Privacy.ChatNames)
		count[chat]++
		n.names = append(n.names, renamed{chat, club.Called(a, a.ID, c.Privacy.PageNames)})
	}
	n.names = slices.DeleteFunc(n.names, func(r renamed) bool { return count[r.chat] > 1 || r.chat == "" || r.chat == r.page })
	// The longest first: no name is taken for the beginning of another.
	slices.SortFunc(n.names, func(a, b renamed) int { return len(b.chat) - len(a.chat) })
	return n
}

// before and after are what stands around a name in a message.
var (
	before = []string{": ", ", ", "; ", " and ", "- ", ". ", "of "}
	after  = []string{":", ",", ".", ";", " and ", " ("}
)

// Say returns a line with athletes called as on the page.
func (n *calledNow) Say(line string) string {
	var b strings.Builder
	for at := 0; at < len(line); {
		if r, ok := n.at(line, at); ok {
			b.WriteString(r.page)
			at += len(r.chat)
			continue
		}
		b.WriteByte(line[at])
		at++
	}
	return b.String()
}

// at returns the name that stands at a place of a line.
func (n *calledNow) at(line string, at int) (renamed, bool) {
	head := line[:at]
	if head != "" && !slices.ContainsFunc(before, func(s string) bool { return strings.HasSuffix(head, s) }) {
		return renamed{}, false
	}
	for _, r := range n.names {
		rest, ok := strings.CutPrefix(line[at:], r.chat)
		if ok && (rest == "" || slices.ContainsFunc(after, func(s string) bool { return strings.HasPrefix(rest, s) })) {
			return r, true
		}
	}
	return renamed{}, false
}
