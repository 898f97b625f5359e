package message

import (
	"regexp"
	"strings"

	"canter.example/schemas/club"
)

// Sayer takes names out of texts from elsewhere (reasons of the scorer, notes
// and corrections of staff) where athletes are not called by name. It may be
// shared between goroutines.
type Sayer struct {
	named     bool
	spellings []spelling
}

// spelling finds one way to write an athlete's name.
type spelling struct {
	re   *regexp.Regexp
	mean string
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
		called := strings.ReplaceAll(line(club.Called(a, a.ID, style)), "$", "$$")
		for _, name := range append([]string{a.Name}, a.Aliases...) {
			if name = line(name); name != "" {
				s.spellings = append(s.spellings, spelling{
					regexp.MustCompile(`(?i)(^|[^\pL\pN])` + regexp.QuoteMeta(name) + `($|[^\pL\pN])`), "${1}" + called + "${2}",
				})
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
		text = x.re.ReplaceAllString(text, x.mean)
	}
	words := strings.Fields(text)
	for i, w := range words {
		if strings.ContainsAny(w, `/\`) {
			words[i] = "(path withheld)"
		}
	}
	return strings.Join(words, " ")
}

// said is a text from elsewhere as it may stand in chat.
func said(c *club.Club, text string) string {
	if c.Privacy.ChatNames == club.ShowName {
		return line(text)
	}
	return NewSayer(c, c.Privacy.ChatNames).Say(text)
}
