package judge

import (
	"flag"
	"fmt"
	"image/color"
	"math"
	"path/filepath"
	"testing"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"os"
)

var (
	pictures = flag.String("pictures", "", "draw sessions -from to -from+11 into this PNG, to look at")
	from     = flag.Int("from", 0, "first session of -pictures")
	group    = flag.String("group", "", "only sessions of this group in -pictures")
)

// TestTruthLiesInTheTrace checks what an eye would check on the pictures: the
// test's true window is where the work is, and HRex and HRR are what the
// trace shows there.
func TestTruthLiesInTheTrace(t *testing.T) {
	seen := map[Group]int{}
	for i := range 300 {
		s := Make(*seed, i)
		seen[s.Group]++
		if s.Group != Clean {
			continue
		}
		test, tr := s.Plan.Tests[0], s.Truths[0]
		before := mean(s.Heart, float64(test.Start-5), float64(test.Start))
		if tr.HRex < before+20 || tr.HRex < 0.7*s.Body.HRmax || tr.HRex > s.Body.HRmax {
			t.Errorf("session %d: HRex %.1f after %.1f before the test, HRmax %.0f", i, tr.HRex, before, s.Body.HRmax)
		}
		if tr.HRR < 8 || tr.HRR > 85 {
			t.Errorf("session %d: HRR60 %.1f bpm", i, tr.HRR)
		}
		if math.Abs(tr.HRex-tr.StrapEx) > 3 {
			t.Errorf("session %d: the faultless strap's HRex is %.1f, the heart's %.1f", i, tr.StrapEx, tr.HRex)
		}
		if e, was := s.Plan.Effort[test.Start], s.Plan.Effort[test.Start-1]; e < 0.5 || was > 0.45 || s.Plan.Effort[test.End] > 0.3 {
			t.Errorf("session %d: effort %.2f then %.2f at the start, %.2f after the end", i, was, e, s.Plan.Effort[test.End])
		}
		if got, want := test.End-test.Start, s.Form.Seconds(); got != want {
			t.Errorf("session %d: the test is %d s long, want %d", i, got, want)
		}
	}
	for _, g := range []Group{Clean, Trap, NoTest, Artefact} {
		if seen[g] < 20 {
			t.Errorf("%d sessions of group %q in 300", seen[g], g)
		}
	}
}

// TestPictures draws twelve sessions: grey what is in the file, black the
// noiseless heart, upright lines at true starts, ends, and 60 s after.
func TestPictures(t *testing.T) {
	if *pictures == "" {
		return
	}
	const cols, rows = 3, 4
	img := vgimg.New(46*vg.Centimeter, 40*vg.Centimeter)
	tiles := draw.Tiles{Rows: rows, Cols: cols}
	dc := draw.New(img)
	n := 0
	for i := *from; n < rows*cols; i++ {
		s := Make(*seed, i)
		if *group != "" && string(s.Group) != *group {
			continue
		}
		p := plot.New()
		p.Title.Text = fmt.Sprintf("%d %s: %s %d, %s, %s, %s", i, s.Group, s.Kind, s.Severity, s.Form.ID, s.Manner, s.Format)
		drawSession(t, p, s)
		p.Draw(tiles.At(dc, n%cols, n/cols))
		n++
	}
	f, err := os.Create(filepath.Clean(*pictures))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := (vgimg.PngCanvas{Canvas: img}).WriteTo(f); err != nil {
		t.Fatal(err)
	}
}

func drawSession(t *testing.T, p *plot.Plot, s *Session) {
	var raw, heart plotter.XYs
	for _, x := range s.Rec.Samples {
		if x.HR >= 0 {
			raw = append(raw, plotter.XY{X: x.At.Sub(s.Begin).Minutes(), Y: float64(x.HR)})
		}
	}
	for i, h := range s.Heart {
		heart = append(heart, plotter.XY{X: float64(i) / 60, Y: h})
	}
	if len(raw) > 0 {
		l, err := plotter.NewLine(raw)
		if err != nil {
			t.Fatal(err)
		}
		l.Color = color.Gray{Y: 150}
		p.Add(l)
	}
	l, err := plotter.NewLine(heart)
	if err != nil {
		t.Fatal(err)
	}
	p.Add(l)
	for _, test := range s.Plan.Tests {
		for _, x := range []int{test.Start, test.End, test.End + 60} {
			m, err := plotter.NewLine(plotter.XYs{{X: float64(x) / 60, Y: 50}, {X: float64(x) / 60, Y: 200}})
			if err != nil {
				t.Fatal(err)
			}
			m.Color = color.RGBA{R: 200, A: 255}
			p.Add(m)
		}
	}
}
