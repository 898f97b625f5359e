package chart

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"slices"
	"sync"

	"git.sr.ht/~sbinet/gg"
	xfont "golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// PNG returns the picture with its opaque white ground.
//
// All that is drawn is grey, so that a byte a pixel says it: a tenth of the time
// and half the bytes of one with colours. (Four bits a pixel would be enough, but
// the encoder takes half as long again to put them together.)
func (p *Picture) PNG() ([]byte, error) {
	s, _ := sheets.Get().(*sheet)
	defer sheets.Put(s)
	s.begin(pixels(p.width), pixels(p.height()))
	p.draw(draw.New(s))
	b, err := s.png()
	if err != nil {
		return nil, fmt.Errorf("chart: %q as PNG: %w", p.Title, err)
	}
	return b, nil
}

func pixels(l vg.Length) int { return int(math.Round(l.Dots(dpi))) }

// sheets are used again: a picture's pixels are megabytes, and messages may want
// many pictures a second.
var sheets = sync.Pool{New: func() any { return new(sheet) }}

// sheet is a canvas of pixels. A text that is not turned goes straight onto them:
// the library's own way, which can do more, takes a third of a picture's time for
// the same pixels.
type sheet struct {
	*vgimg.Canvas
	img  image.RGBA
	grey image.Paletted
	pen
	pens []pen // of Push
}

// pen is what the canvas does not tell: the colour, and whether it was moved,
// turned or scaled.
type pen struct {
	color color.Color
	moved bool
}

func (s *sheet) begin(width, height int) {
	s.img.Rect = image.Rect(0, 0, width, height)
	s.img.Stride = 4 * width
	s.img.Pix = slices.Grow(s.img.Pix[:0], 4*width*height)[:4*width*height]
	ctx := gg.NewContextForRGBA(&s.img)
	ctx.SetLineCapButt()
	ctx.InvertY()
	s.pen, s.pens = pen{color: black}, s.pens[:0]
	s.Canvas = vgimg.NewWith(vgimg.UseDPI(dpi), vgimg.UseImageWithContext(&s.img, ctx)) // white
}

// SetColor implements [vg.Canvas].
func (s *sheet) SetColor(c color.Color) {
	s.color = c
	s.Canvas.SetColor(c)
}

// Rotate implements [vg.Canvas].
func (s *sheet) Rotate(t float64) {
	s.moved = true
	s.Canvas.Rotate(t)
}

// Translate implements [vg.Canvas].
func (s *sheet) Translate(p vg.Point) {
	s.moved = true
	s.Canvas.Translate(p)
}

// Scale implements [vg.Canvas].
func (s *sheet) Scale(x, y float64) {
	s.moved = true
	s.Canvas.Scale(x, y)
}

// Push implements [vg.Canvas].
func (s *sheet) Push() {
	s.pens = append(s.pens, s.pen)
	s.Canvas.Push()
}

// Pop implements [vg.Canvas].
func (s *sheet) Pop() {
	last := len(s.pens) - 1
	s.pen, s.pens = s.pens[last], s.pens[:last]
	s.Canvas.Pop()
}

// FillString implements [vg.Canvas].
func (s *sheet) FillString(f font.Face, at vg.Point, text string) {
	if s.moved || s.color == nil || f.Font.Size == 0 {
		s.Canvas.FillString(f, at, text)
		return
	}
	face := f.FontFace(dpi)
	defer func() { _ = face.Close() }()
	d := xfont.Drawer{Dst: &s.img, Src: image.NewUniform(s.color), Face: face, Dot: fixed.Point26_6{
		X: fixed.Int26_6(math.Round(64 * at.X.Dots(dpi))),
		Y: fixed.Int26_6(math.Round(64 * (float64(s.img.Rect.Dy()) - at.Y.Dots(dpi)))),
	}}
	d.DrawString(text)
}

// greys are all there are: the place of each is its value.
var greys = func() color.Palette {
	p := make(color.Palette, 256)
	for i := range p {
		p[i] = color.Gray{Y: uint8(i)} //nolint:gosec // below 256
	}
	return p
}()

func (s *sheet) png() ([]byte, error) {
	n := len(s.img.Pix) / 4
	s.grey.Rect, s.grey.Stride, s.grey.Palette = s.img.Rect, s.img.Rect.Dx(), greys
	s.grey.Pix = slices.Grow(s.grey.Pix[:0], n)[:n]
	for i := range s.grey.Pix {
		s.grey.Pix[i] = s.img.Pix[4*i] // red, as good as green and blue
	}
	var b bytes.Buffer
	err := (&png.Encoder{CompressionLevel: png.BestSpeed, BufferPool: &encoders}).Encode(&b, &s.grey)
	return b.Bytes(), err
}

// encoders keep their memory from one picture to the next.
var encoders encoderPool

type encoderPool struct{ pool sync.Pool }

// Get implements [png.EncoderBufferPool].
func (p *encoderPool) Get() *png.EncoderBuffer {
	b, _ := p.pool.Get().(*png.EncoderBuffer) // nil at first, then the encoder makes one
	return b
}

// Put implements [png.EncoderBufferPool].
func (p *encoderPool) Put(b *png.EncoderBuffer) { p.pool.Put(b) }
