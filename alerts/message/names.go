package message

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"canter.example/schemas/club"
)

// Sayer takes names out of texts from elsewhere (reasons of the scorer, notes
// and corrections of staff) where athletes are not called by name. It may be
// shared between goroutines.
type Sayer struct {
	named     bool
	spellings []spelling
}

// spelling is one way to write an athlete's name, and what to write instead.
type spelling struct {
	name   []rune
	called string
}

// NewSayer returns a Sayer for a style. The club's athletes are known to it
// by name and by every alias; nil without a club file.
func NewSayer(c *club.Club, style club.NameStyle) *Sayer {
	s := &Sayer{named: style == club.ShowName}
	if s.named || c == nil {
		return s
	}
	for i := range c.Athletes {
		a := &c.Athletes[i]
		called := line(club.Called(a, a.ID, style))
		for _, name := range append([]string{a.Name}, a.Aliases...) {
			if name = line(name); name != "" {
				s.spellings = append(s.spellings, spelling{[]rune(name), called})
			}
		}
	}
	return s
}

// An apostrophe inside a word opens no quotation.
var quoted = regexp.MustCompile(`(^|[\s(:,])("[^"]*"|“[^”]*”|‘[^’]*’|'[^']*'|` + "`[^`]*`)")

// Say returns a text in one line as it may be shown: without what it quotes
// (files are quoted with whatever names they hold), with the club's athletes
// called by the style, and without words that look like paths.
func (s *Sayer) Say(text string) string {
	text = line(text)
	if s.named {
		return text
	}
	text = quoted.ReplaceAllString(text, "${1}(name withheld)")
	for _, x := range s.spellings {
		text = x.replace(text)
	}
	words := strings.Fields(text)
	for i, w := range words {
		if strings.ContainsAny(w, `/\`) {
			words[i] = "(path withheld)"
		}
	}
	return strings.Join(words, " ")
}

// replace writes what the athlete is called wherever the name stands as words of
// its own, in capitals or not. It is no regular expression: to make one for each
// athlete takes longer than to write a message.
func (x spelling) replace(text string) string {
	var out strings.Builder
	done, before := 0, ' '
	for i, r := range text {
		if i >= done && !inWord(before) {
			if n := foldedPrefix(text[i:], x.name); n > 0 {
				if after, _ := utf8.DecodeRuneInString(text[i+n:]); i+n == len(text) || !inWord(after) {
					out.WriteString(text[done:i])
					out.WriteString(x.called)
					done = i + n
				}
			}
		}
		before = r
	}
	if done == 0 {
		return text
	}
	out.WriteString(text[done:])
	return out.String()
}

func inWord(r rune) bool { return unicode.IsLetter(r) || unicode.IsNumber(r) }

// foldedPrefix returns how many bytes of text the name takes at its beginning,
// 0 when it is not there.
func foldedPrefix(text string, name []rune) int {
	at := 0
	for _, want := range name {
		r, size := utf8.DecodeRuneInString(text[at:])
		if size == 0 || !sameFolded(r, want) {
			return 0
		}
		at += size
	}
	return at
}

// sameFolded reports whether two characters differ at most in their case.
func sameFolded(a, b rune) bool {
	if a == b {
		return true
	}
	for r := unicode.SimpleFold(a); r != a; r = unicode.SimpleFold(r) {
		if r == b {
			return true
		}
	}
	return false
}

// said is a text from elsewhere as it may stand in chat.
func said(c *club.Club, text string) string {
	if c.Privacy.ChatNames == club.ShowName {
		return line(text)
	}
	return NewSayer(c, c.Privacy.ChatNames).Say(text)
}
