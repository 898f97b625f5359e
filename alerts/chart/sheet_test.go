package chart

import (
	"bytes"
	"image/color"
	"math"
	"testing"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// texts is a picture of texts, one of them turned, at places between pixels, in
// the greys and sizes that there are.
func texts(c draw.Canvas) {
	k := newInk(20)
	for i, style := range []draw.TextStyle{k.title, k.bold, k.text, k.small} {
		y := vg.Length(30 + 31.37*float64(i))
		fill(c, vg.Rectangle{Min: vg.Point{X: 20, Y: y}, Max: vg.Point{X: 90, Y: y + 9}}, pale)
		style.Color = []color.Color{black, dark, mid, white}[i]
		put(c, style, draw.XLeft, 10.3, y, "AVAST: 78.8 % (Ådne Ñuñez, Łęg), Ωμέγα")
	}
	turned := k.text
	turned.Rotation = math.Pi / 2
	c.FillText(turned, vg.Point{X: 480, Y: 20}, "turned")
	c.Push()
	c.Translate(vg.Point{X: 3, Y: 7})
	put(c, k.text, draw.XLeft, 200, 150, "moved")
	c.Pop()
	put(c, k.text, draw.XLeft, 300, 150, "and back")
}

// Texts put straight onto the pixels are those that the library draws, but for
// the last bit.
func TestTextsAreTheLibrarys(t *testing.T) {
	var straight, library sheet
	straight.begin(700, 300)
	texts(draw.New(&straight))
	library.begin(700, 300)
	texts(draw.New(library.Canvas))
	for i, p := range straight.img.Pix {
		if d := int(p) - int(library.img.Pix[i]); d < -1 || d > 1 { // it blends in other steps
			t.Fatalf("byte %d of the pixels is %d, the library's %d", i, p, library.img.Pix[i])
		}
	}
	if ink := bytes.Count(straight.img.Pix, []byte{0}); ink < 500 {
		t.Fatalf("%d black bytes: nothing was written", ink)
	}
}

// A sheet that is used again, for a smaller picture, shows nothing of the first.
func TestASheetUsedAgainIsBlank(t *testing.T) {
	var s, fresh sheet
	s.begin(700, 300)
	texts(draw.New(&s))
	s.Push()
	s.Rotate(1)
	s.begin(500, 200)
	fresh.begin(500, 200)
	for _, x := range []*sheet{&s, &fresh} {
		put(draw.New(x), newInk(20).text, draw.XLeft, 10, 100, "second")
	}
	a, errA := s.png()
	b, errB := fresh.png()
	if errA != nil || errB != nil || !bytes.Equal(a, b) {
		t.Fatalf("differ (%v, %v)", errA, errB)
	}
}
