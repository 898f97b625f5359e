package chat

import (
	"strings"
	"unicode"
	"unicode/utf16"
)

// Limits of the Web API: 3,000 characters a section and 50 sections; messages
// were refused from about 13,200 characters in all (PITFALLS), so a page stops
// at 12,000, its fallback text included.
const (
	maxSection  = 3000
	maxPage     = 12000
	maxFallback = 300
)

// page is what fits one chat message. All texts are escaped.
type page struct {
	// fallback is for notifications and screen readers.
	fallback string
	sections []section
}

// section is a text block with the buttons in the block under it.
type section struct {
	text    string
	buttons []Button
}

// maxSections keeps a page below the 50 blocks that a message may have: each
// section can bring a block of buttons.
const maxSections = 24

// paginate cuts plain texts into pages of sections. The first line of the
// first page is set bold where it has no formatting characters of its own; a
// part's buttons follow its last section. Empty texts have no pages.
func paginate(parts ...Part) []page {
	var all []string
	var sections []section
	for _, p := range parts {
		text := strings.TrimSpace(printable(p.Text))
		if text == "" {
			continue
		}
		all = append(all, text)
		for _, s := range chop(text, maxSection-2) {
			sections = append(sections, section{text: escape(s)})
		}
		sections[len(sections)-1].buttons = p.Buttons
	}
	if len(all) == 0 {
		return nil
	}
	whole := strings.Join(all, "\n")
	headline, _, _ := strings.Cut(whole, "\n")
	sections[0].text = embolden(sections[0].text)
	var pages []page
	room := 0
	for _, s := range sections {
		if n := len(pages); n == 0 || length(s.text) > room || len(pages[n-1].sections) == maxSections {
			pages = append(pages, page{fallback: escape(chop(headline, maxFallback)[0])})
			room = maxPage - maxFallback
		}
		last := &pages[len(pages)-1]
		last.sections = append(last.sections, s)
		room -= length(s.text)
	}
	if escaped := escape(whole); len(pages) == 1 && length(escaped) <= maxSection {
		pages[0].fallback = escaped
	}
	return pages
}

// embolden sets the first line bold.
func embolden(text string) string {
	headline, rest, more := strings.Cut(text, "\n")
	if strings.ContainsAny(headline, "*_~`") || headline == "" {
		return text
	}
	if !more {
		return "*" + headline + "*"
	}
	return "*" + headline + "*\n" + rest
}

// chop cuts text into pieces whose escaped length is at most limit, at the end
// of a line where there is one in a piece's second half, else at a space, else
// anywhere between two characters. Only the white space at cuts is lost. It
// returns at least one piece.
func chop(text string, limit int) []string {
	var pieces []string
	for {
		cut := fit(text, limit)
		if cut == len(text) {
			return append(pieces, text)
		}
		if i := strings.LastIndexByte(text[:cut], '\n'); i > cut/2 {
			cut = i
		} else if i := strings.LastIndexByte(text[:cut], ' '); i > cut/2 {
			cut = i
		}
		pieces = append(pieces, text[:cut])
		text = strings.TrimLeft(text[cut:], " \n")
		if text == "" {
			return pieces
		}
	}
}

// fit returns how many bytes of text have an escaped length of at most limit;
// at least one character, so that chop always moves on.
func fit(text string, limit int) int {
	n := 0
	for i, r := range text {
		n += cost(r)
		if n > limit && i > 0 {
			return i
		}
	}
	return len(text)
}

// cost is the length of a character once escaped, in UTF-16 units, the
// strictest way a server may count.
func cost(r rune) int {
	switch r {
	case '&':
		return len("&amp;")
	case '<', '>':
		return len("&lt;")
	default:
		return max(1, utf16.RuneLen(r))
	}
}

func length(text string) int {
	n := 0
	for _, r := range text {
		n += max(1, utf16.RuneLen(r))
	}
	return n
}

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;")

// escape makes text literal: what would be a mention, a link or an entity is
// three characters that the Web API names.
func escape(text string) string { return escaper.Replace(text) }

// printable drops control and text-direction characters, which could move a
// terminal's cursor or turn a line round, and mends broken UTF-8. New lines
// stay, tabs become spaces.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case r == '\t':
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Bidi_Control, r):
			return -1
		default:
			return r
		}
	}, strings.ToValidUTF8(text, "\uFFFD"))
}
