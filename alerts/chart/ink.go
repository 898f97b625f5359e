package chart

import (
	"fmt"
	"html"
	"image/color"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/norm"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Greys, by what lies on them. They differ enough to survive a photocopier.
var (
	black = color.Gray{Y: 0}
	dark  = color.Gray{Y: 85}
	mid   = color.Gray{Y: 140}
	light = color.Gray{Y: 200}
	pale  = color.Gray{Y: 228}
	white = color.Gray{Y: 255}
)

// ink holds the styles of a picture of one type size.
type ink struct {
	size  vg.Length
	title draw.TextStyle
	bold  draw.TextStyle
	text  draw.TextStyle
	small draw.TextStyle
}

func newInk(size vg.Length) ink {
	style := func(scale float64, weight xfont.Weight) draw.TextStyle {
		f := font.Font{Typeface: "Liberation", Variant: "Sans", Weight: weight}
		return draw.TextStyle{
			Color: black, Font: font.From(f, size*vg.Length(scale)),
			XAlign: draw.XLeft, YAlign: draw.YBottom, Handler: plot.DefaultTextHandler,
		}
	}
	return ink{
		size: size, title: style(1.2, xfont.WeightBold), bold: style(1, xfont.WeightBold),
		text: style(1, xfont.WeightNormal), small: style(0.86, xfont.WeightNormal),
	}
}

// measured says in an SVG's text element how long the text is.
func (k ink) measured(element []byte) []byte {
	m := svgText.FindSubmatch(element)
	size, err := strconv.ParseFloat(string(m[3]), 64)
	text := html.UnescapeString(string(m[4]))
	if err != nil || utf8.RuneCountInString(text) < 2 {
		return element
	}
	style := k.text
	if string(m[2]) == "bold" {
		style = k.bold
	}
	style.Font.Size = vg.Length(size)
	return fmt.Appendf(nil, `<text textLength="%.1f" lengthAdjust="spacingAndGlyphs" %s>%s</text>`, style.Width(text).Points(), m[1], m[4])
}

// stroke is a line style in hundredths of the type size.
func (k ink) stroke(c color.Color, width float64, dashes ...float64) draw.LineStyle {
	s := draw.LineStyle{Color: c, Width: k.size * vg.Length(width) / 100}
	for _, d := range dashes {
		s.Dashes = append(s.Dashes, k.size*vg.Length(d)/100)
	}
	return s
}

// Person is an athlete as a picture may call them.
type Person struct {
	// ID is the club's own identifier; it stands in where the name is written
	// in a script that the picture's font does not have.
	ID string
	// Name is what privacy allows: name, initials or id.
	Name string
}

// label is the name, the id where the name can't be drawn.
func (p Person) label() string {
	for _, s := range []string{p.Name, p.ID} {
		if t, whole := legible(s); whole && t != "" {
			return t
		}
	}
	if t, _ := legible(p.ID); t != "" {
		return t
	}
	return "athlete"
}

// legible returns a text in one line as far as the font has its characters,
// and whether that is all of it: characters outside Latin, Greek and Cyrillic
// would vanish without a trace.
func legible(s string) (text string, whole bool) {
	s = strings.Join(strings.Fields(norm.NFC.String(strings.ToValidUTF8(s, "\uFFFD"))), " ")
	face := font.DefaultCache.Lookup(font.Font{Typeface: "Liberation", Variant: "Sans"}, 10).Face
	var buf sfnt.Buffer
	var b strings.Builder
	whole, gap := true, false
	for _, r := range s {
		i, err := face.GlyphIndex(&buf, r)
		if err != nil || i == 0 || unicode.IsControl(r) {
			// One mark for a run of them: the reader sees that something is missing.
			if whole = false; !gap {
				b.WriteRune('…')
			}
			gap = true
			continue
		}
		gap = false
		b.WriteRune(r)
	}
	return b.String(), whole
}

// drawable is a text as far as the font has it.
func drawable(s string) string {
	t, _ := legible(s)
	return t
}

// fit cuts a text to a width, with an ellipsis where it was cut.
func fit(s string, style draw.TextStyle, width vg.Length) string {
	if style.Width(s) <= width {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && style.Width(string(r)+"…") > width {
		r = r[:len(r)-1]
	}
	return strings.TrimRight(string(r), " ,;") + "…"
}

// wrap breaks a text into lines of at most width.
func wrap(s string, style draw.TextStyle, width vg.Length) []string {
	var lines []string
	now := ""
	for word := range strings.FieldsSeq(s) {
		switch longer := strings.TrimSpace(now + " " + word); {
		case style.Width(longer) <= width:
			now = longer
		case now == "":
			lines = append(lines, fit(word, style, width))
		default:
			lines, now = append(lines, now), fit(word, style, width)
		}
	}
	if now != "" {
		lines = append(lines, now)
	}
	return lines
}
