package chart

import (
	"bytes"
	"fmt"
	"html"
	"image/color"
	"math"
	"regexp"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Size of a picture. The zero Size is [Phone]. Heights follow from what there
// is to show.
type Size struct {
	// Width in pixels (1/96 inch), from 300 to 4000.
	Width int
	// Type is the height of text in pixels, at most a twentieth of the width.
	Type int
	// Bare leaves out the title lines, where the page around the picture says
	// whose and what it is.
	Bare bool
}

// Sizes in use.
var (
	// Phone fills the width of a phone with letters of about 10 CSS pixels.
	Phone = Size{Width: 1000, Type: 27}
	// Page is for half a page's width, Wide for all of it.
	Page = Size{Width: 620, Type: 17}
	Wide = Size{Width: 1000, Type: 17}
)

const dpi = 96

// Picture is a finished drawing. Its methods may be called from many
// goroutines.
type Picture struct {
	// Title says in a few words what is shown, Alt all that matters in it: it
	// takes the picture's place for whoever can't see it.
	Title string
	Alt   string

	ink        ink
	bare       bool
	width      vg.Length
	head, foot []line
	body       vg.Length
	paint      func(c draw.Canvas)
}

// line is a line of text above or below the drawing.
type line struct {
	style draw.TextStyle
	text  string
}

func newPicture(s Size) *Picture {
	if s.Width <= 0 {
		s = Phone
	}
	s.Width = min(max(s.Width, 300), 4000)
	s.Type = min(max(s.Type, 8), s.Width/20)
	return &Picture{bare: s.Bare, ink: newInk(vg.Length(s.Type) * vg.Inch / dpi), width: vg.Length(s.Width) * vg.Inch / dpi}
}

// margin around everything: in dark chat the white sheet needs its edge.
func (p *Picture) margin() vg.Length { return p.ink.size * 0.8 }

func (p *Picture) inner() vg.Length { return p.width - 2*p.margin() }

// above and below add a text over or under the drawing, in as many lines as
// it takes.
func (p *Picture) above(style draw.TextStyle, text string) {
	for _, l := range wrap(drawable(text), style, p.inner()) {
		p.head = append(p.head, line{style, l})
	}
}

// share returns a share of the width for the drawing; a bare picture is
// flatter, as many of them stand on a page.
func (p *Picture) share(of float64) vg.Length {
	if p.bare {
		of *= 0.86
	}
	return p.width * vg.Length(of)
}

// titled is above for what a bare picture leaves out.
func (p *Picture) titled(style draw.TextStyle, text string) {
	if !p.bare {
		p.above(style, text)
	}
}

func (p *Picture) below(style draw.TextStyle, text string) {
	for _, l := range wrap(drawable(text), style, p.inner()) {
		p.foot = append(p.foot, line{style, l})
	}
}

func (l line) height() vg.Length { return l.style.Font.Size * 1.3 }

func height(lines []line) (h vg.Length) {
	for _, l := range lines {
		h += l.height()
	}
	return h
}

// gap stands between texts and drawing.
func (p *Picture) gap() vg.Length { return p.ink.size * 0.4 }

func (p *Picture) height() vg.Length {
	h := 2*p.margin() + height(p.head) + p.body + height(p.foot)
	if len(p.head) > 0 {
		h += p.gap()
	}
	if len(p.foot) > 0 {
		h += p.gap()
	}
	// Whole pixels, or the last row is half transparent.
	return vg.Length(math.Ceil(float64(h/vg.Inch*dpi))) * vg.Inch / dpi
}

// draw puts everything on a canvas that is white.
func (p *Picture) draw(c draw.Canvas) {
	c = draw.Crop(c, p.margin(), -p.margin(), p.margin(), -p.margin())
	p.lines(c, c.Max.Y, p.head)
	bottom := c.Min.Y
	if len(p.foot) > 0 {
		p.lines(c, c.Min.Y+height(p.foot), p.foot)
		bottom += height(p.foot) + p.gap()
	}
	c.Min.Y, c.Max.Y = bottom, bottom+p.body
	if p.paint != nil {
		p.paint(c)
	}
}

func (p *Picture) lines(c draw.Canvas, top vg.Length, lines []line) {
	for _, l := range lines {
		top -= l.height()
		put(c, l.style, draw.XLeft, c.Min.X, top+l.style.Font.Size*0.3, l.text)
	}
}

var (
	svgHead    = regexp.MustCompile(`(?s)^.*?<svg width="[^"]*" height="[^"]*" viewBox="([^"]*)"[^>]*>`)
	fontFamily = regexp.MustCompile(`font-family:([A-Za-z ]+);font-variant:[a-z]*;`)
	svgText    = regexp.MustCompile(`(?s)<text ([^>]*font-weight:(bold|normal)[^>]*font-size:([0-9.]+)px[^>]*)>([^<]*)</text>`)
)

// Inline returns the picture as an svg element for an HTML page, without
// fonts: it asks for those that have the same widths on most machines, and
// says how long each text is for the others, or a wider font would run over
// the edge. The element takes the width it is given, and carries Title and Alt.
func (p *Picture) Inline() ([]byte, error) {
	b, err := p.svg()
	if err != nil {
		return nil, err
	}
	head := fmt.Sprintf(`<svg viewBox="$1" role="img" aria-label="%s"><title>%s</title>`, attr(p.Alt), attr(p.Title))
	b = svgHead.ReplaceAll(b, []byte(strings.ReplaceAll(head, "$1", "${1}")))
	b = svgText.ReplaceAllFunc(b, p.ink.measured)
	return fontFamily.ReplaceAll(b, []byte("font-family:'$1',Arial,Helvetica,sans-serif;")), nil
}

// attr escapes a text for an attribute or element of SVG, and for the template
// of a regular expression's replacement.
func attr(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0xFFFE || r == 0xFFFF {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return strings.ReplaceAll(html.EscapeString(s), "$", "$$")
}

func (p *Picture) svg() ([]byte, error) {
	c := vgsvg.NewWith(vgsvg.UseWH(p.width, p.height())) // without fonts: they are 1 MB a picture
	sheet := draw.New(c)
	fill(sheet, sheet.Rectangle, white)
	p.draw(sheet)
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("chart: %q as SVG: %w", p.Title, err)
	}
	return b.Bytes(), nil
}

// put writes a text with its baseline at y; x is its left, middle or right.
func put(c draw.Canvas, style draw.TextStyle, align draw.XAlignment, x, y vg.Length, text string) {
	if text == "" {
		return
	}
	x += style.Width(text) * vg.Length(align)
	style.XAlign, style.YAlign = draw.XLeft, draw.YBottom
	// The plain handler puts the baseline at y + size - ascent.
	y += style.FontExtents().Ascent - style.Font.Size
	c.FillText(style, vg.Point{X: x, Y: y}, text)
}

func fill(c draw.Canvas, r vg.Rectangle, g color.Color) {
	if r.Max.X <= r.Min.X || r.Max.Y <= r.Min.Y {
		return
	}
	c.FillPolygon(g, []vg.Point{r.Min, {X: r.Max.X, Y: r.Min.Y}, r.Max, {X: r.Min.X, Y: r.Max.Y}})
}

func frame(c draw.Canvas, r vg.Rectangle, s draw.LineStyle) {
	c.StrokeLines(s, []vg.Point{r.Min, {X: r.Max.X, Y: r.Min.Y}, r.Max, {X: r.Min.X, Y: r.Max.Y}, r.Min})
}

// hatch fills a rectangle with rising lines, a distance apart: on paper it
// can't be taken for a grey.
func hatch(c draw.Canvas, r vg.Rectangle, s draw.LineStyle, apart vg.Length) {
	w, h := r.Max.X-r.Min.X, r.Max.Y-r.Min.Y
	if w <= 0 || h <= 0 || apart <= 0 {
		return
	}
	for d := -h; d < w; d += apart {
		x0, x1 := max(d, 0), min(d+h, w)
		if x1 > x0 {
			c.StrokeLine2(s, r.Min.X+x0, r.Min.Y+x0-d, r.Min.X+x1, r.Min.Y+x1-d)
		}
	}
}

func diamond(c draw.Canvas, at vg.Point, r vg.Length, g color.Color) {
	c.FillPolygon(g, []vg.Point{{X: at.X - r, Y: at.Y}, {X: at.X, Y: at.Y - r}, {X: at.X + r, Y: at.Y}, {X: at.X, Y: at.Y + r}})
}
