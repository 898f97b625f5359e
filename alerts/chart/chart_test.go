package chart_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"canter.example/alerts/chart"
	"canter.example/schemas"
)

var update = flag.Bool("update", false, "write the golden files anew")

// small keeps goldens small; the geometry is that of every size.
var small = chart.Size{Width: 620, Type: 17}

var steady = &schemas.Protocol{
	ID: "steady4", Name: "Steady 4 min", Regimen: schemas.Continuous, Progression: schemas.Fixed,
	Stages: []schemas.Stage{{Duration: 4 * time.Minute}}, HRex: schemas.FinalMean, HRexWindow: time.Minute,
	Recovery: []time.Duration{time.Minute}, EndWindow: 5 * time.Second, RecoveryWindow: 5 * time.Second,
	BandLow: 0.75, BandHigh: 0.85, MinCoverage: 0.8,
}

var first = time.Date(2026, 3, 3, 9, 30, 0, 0, time.UTC)

// made is an invented outcome; HRmax is 190.
func made(week int, hrex, hrr float64) schemas.Outcome {
	return schemas.Outcome{
		Athlete: "a07", Protocol: "steady4", Start: first.AddDate(0, 0, 7*week), Duration: 4 * time.Minute,
		HRexBPM: schemas.Num(hrex), HRexPct: schemas.Num(hrex / 1.9), EndHR: schemas.Num(hrex),
		HRmax:    schemas.HRmax{BPM: schemas.Num(190), Source: schemas.HRmaxMeasured},
		Recovery: []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(hrr)}}, Quality: schemas.Good, Coverage: 1,
	}
}

// rise is a trace that climbs to hrex and falls by hrr within a minute.
func rise(hrex, hrr float64) []schemas.TraceSecond {
	var out []schemas.TraceSecond
	for s := -120; s < 330; s++ {
		v := 105.0
		switch {
		case s >= 240:
			v = hrex - hrr*(1-math.Exp(-float64(s-240)/40))/(1-math.Exp(-60.0/40))
		case s >= 0:
			v = 105 + (hrex-105)*(1-math.Exp(-float64(s)/40))
		}
		v = math.Round(v)
		out = append(out, schemas.TraceSecond{Second: s, Raw: schemas.Num(v), Clean: schemas.Num(v)})
	}
	return out
}

// marred has a spike, a bridged gap, a long gap and a slipped strap.
func marred() []schemas.TraceSecond {
	ts := rise(160, 40)
	for i := range ts {
		t := &ts[i]
		switch s := t.Second; {
		case s >= 60 && s < 64:
			t.Raw, t.Clean, t.Dropped = schemas.Num(214), schemas.Number{}, "spike"
		case s >= 100 && s < 106:
			t.Raw, t.Dropped = schemas.Number{}, "no reading, bridged for display"
		case s >= 150 && s < 175:
			t.Raw, t.Clean, t.Dropped = schemas.Number{}, schemas.Number{}, "no reading"
		case s >= 190 && s < 205:
			t.Raw, t.Clean, t.Dropped = schemas.Num(96), schemas.Number{}, "strap slip"
		}
	}
	return ts
}

func compared(m schemas.Measure, unit string, value, mean, sd float64) schemas.Comparison {
	c := schemas.Comparison{
		Measure: m, Unit: unit, Value: schemas.Num(value), State: schemas.Inside, N: 8, MinN: 4, Mean: schemas.Num(mean),
		Change: schemas.Num(value - mean), Z: schemas.Num((value - mean) / sd), PredLow: schemas.Num(mean - 2.5*sd), PredHigh: schemas.Num(mean + 2.5*sd),
		TE: schemas.Num(sd), SWC: schemas.Num(0.7 * sd),
	}
	if m == schemas.MeasureHRR {
		c.Seconds = 60
	}
	if value-mean > 2*sd {
		c.State = schemas.Higher
	}
	return c
}

func traces() chart.SessionData {
	d := chart.SessionData{Title: "First squad, Tue 3 Mar 2026", Protocol: steady, Size: small}
	for i, name := range []string{"Ada Quill", "Bo Fenwick", "Cy Marlowe", "Dee Ashdown", "Ed Harrowgate", "Fay Whinfell"} {
		d.Tests = append(d.Tests, chart.SessionTest{Who: chart.Person{ID: "x", Name: name}, Outcome: made(0, 155+float64(i), 40), Seconds: rise(155+float64(i), 40)})
	}
	odd := &d.Tests[4]
	odd.Seconds = marred()
	odd.Outcome.Quality = schemas.Check
	odd.Outcome.Reasons = []schemas.Reason{{Code: schemas.ReasonHRmaxEstimated, Text: "a remark"}, {Code: schemas.ReasonStrapSlip, Text: "the strap slipped"}}
	return d
}

func past() chart.HistoryData {
	d := chart.HistoryData{Who: chart.Person{ID: "a07", Name: "Ada Quill"}, Protocol: steady, Size: small}
	for w := range 9 {
		o := made(w, 155+[]float64{0, 2, -1, 1}[w%4], 40)
		ht := chart.HistoryTest{Outcome: o}
		if w >= 4 {
			ht.Assessment = &schemas.Assessment{Comparisons: []schemas.Comparison{
				compared(schemas.MeasureHRex, "% points of HRmax", o.HRexPct.Or(0), 81.8, 1.2), compared(schemas.MeasureHRR, "bpm", 40, 39, 3),
			}}
		}
		d.Tests = append(d.Tests, ht)
	}
	d.Tests[5].Outcome.Staff = schemas.Excluded
	d.Tests[6].Outcome.Quality, d.Tests[6].Outcome.Staff = schemas.Check, schemas.Accepted
	d.Tests[7].Outcome.Quality = schemas.Check
	d.Tests[2].Outcome.HRexBPM, d.Tests[2].Outcome.Quality = schemas.Number{}, schemas.Reject
	d.Notes = []chart.Note{{At: d.Tests[5].Outcome.Start, Text: "left out by the analyst: strap slipped"}}
	return d
}

func day() chart.SquadData {
	d := chart.SquadData{
		Title: "First squad, Tue 3 Mar 2026", Measure: schemas.MeasureHRex, Size: small,
		Shift: schemas.Num(0.8), ShiftLow: schemas.Num(0.1), ShiftHigh: schemas.Num(1.4),
	}
	for i, change := range []float64{0.4, 3.9, -1.6, 1.2, -0.02} {
		c := compared(schemas.MeasureHRex, "% points of HRmax", 82+change, 82, 1.2)
		d.Tests = append(d.Tests, chart.SquadTest{Who: chart.Person{ID: string(rune('a' + i)), Name: "Athlete " + string(rune('A'+i))}, Outcome: made(0, 155, 40), Comparison: &c})
	}
	building := compared(schemas.MeasureHRex, "% points of HRmax", 82, 82, 1)
	building.State, building.N, building.Change = schemas.Building, 2, schemas.Number{}
	d.Tests = append(d.Tests, chart.SquadTest{Who: chart.Person{ID: "new", Name: "New Signing"}, Outcome: made(0, 155, 40), Comparison: &building})
	return d
}

func TestPicturesAreWhatTheyWere(t *testing.T) {
	for name, p := range map[string]*chart.Picture{
		"trace":         chart.Trace(chart.TraceData{Who: chart.Person{ID: "a07", Name: "Ada Quill"}, Outcome: made(0, 156, 41), Seconds: rise(156, 41), Protocol: steady, Size: small}),
		"trace-marred":  chart.Trace(chart.TraceData{Who: chart.Person{ID: "a07", Name: "Ada Quill"}, Outcome: traces().Tests[4].Outcome, Seconds: marred(), Protocol: steady, Size: small}),
		"trace-nothing": chart.Trace(chart.TraceData{Who: chart.Person{ID: "a07"}, Size: small}),
		"session":       chart.Session(traces()),
		"history":       chart.History(past()),
		"squad":         chart.Squad(day()),
	} {
		t.Run(name, func(t *testing.T) {
			got, err := p.Inline()
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, "<!-- "+p.Alt+" -->\n"...)
			path := filepath.Join("testdata", name+".svg")
			if *update {
				if err := os.WriteFile(path, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatalf("%v; run with -update to write it", err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("%s has changed: run with -update, and look at it", path)
			}
			pngIsOpaque(t, p)
		})
	}
}

// pngIsOpaque checks that the PNG can be read, is as wide as asked for and
// has a white edge: dark chat must not shine through.
func pngIsOpaque(t *testing.T, p *chart.Picture) {
	t.Helper()
	b, err := p.PNG()
	if err != nil {
		t.Fatal(err)
	}
	again, err := p.PNG()
	if err != nil || !bytes.Equal(b, again) {
		t.Errorf("drawn twice, the bytes differ (%v)", err)
	}
	img, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	if w := img.Bounds().Dx(); w != small.Width {
		t.Errorf("%d pixels wide, want %d", w, small.Width)
	}
	if len(b) > 1<<20 {
		t.Errorf("%d bytes are much for a chat", len(b))
	}
	white := color.RGBAModel.Convert(color.White)
	for _, at := range edge(img.Bounds()) {
		if got := color.RGBAModel.Convert(img.At(at.X, at.Y)); got != white {
			t.Fatalf("pixel %v of the edge is %v, want opaque white", at, got)
		}
	}
	seen := false
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			r, g, b, _ := img.At(x, y).RGBA()
			if r != g || g != b {
				t.Fatalf("pixel %d, %d has a colour: pictures are black and grey", x, y)
			}
			seen = seen || r < 0x1000
		}
	}
	if !seen {
		t.Error("nothing black in it")
	}
}

func edge(r image.Rectangle) (out []image.Point) {
	for x := r.Min.X; x < r.Max.X; x++ {
		out = append(out, image.Pt(x, r.Min.Y), image.Pt(x, r.Max.Y-1))
	}
	for y := r.Min.Y; y < r.Max.Y; y++ {
		out = append(out, image.Pt(r.Min.X, y), image.Pt(r.Max.X-1, y))
	}
	return out
}

// words returns all text of an SVG, and fails when it is not XML or holds
// elements that pictures do not have.
func words(t *testing.T, svg []byte) string {
	t.Helper()
	var b strings.Builder
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return b.String()
		}
		if err != nil {
			t.Fatalf("not XML: %v", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			switch tok.Name.Local {
			case "svg", "g", "path", "text", "title", "defs", "style":
			default:
				t.Fatalf("element %q in a picture", tok.Name.Local)
			}
		case xml.CharData:
			b.Write(tok)
			b.WriteByte('\n')
		}
	}
}

func TestNamesCanNotBreakOutOfAPicture(t *testing.T) {
	const hostile = `</text><script>alert("1")</script>&amp; $1 ${2}` + "\x00\x1b[31m\ufffe"
	d := traces()
	d.Title = hostile
	d.Tests[0].Who = chart.Person{ID: "a07", Name: `<b onload="x">`}
	h := past()
	h.Who.Name = `<b onload="x">`
	h.Notes[0].Text = hostile
	for _, p := range []*chart.Picture{chart.Session(d), chart.History(h)} {
		svg, err := p.Inline()
		if err != nil {
			t.Fatal(err)
		}
		if got := words(t, svg); !strings.Contains(got, `<b onload=`) {
			t.Error("the name is not in the picture as it is written")
		}
	}
}

func TestNamesInOtherScriptsBecomeIDs(t *testing.T) {
	for name, want := range map[string]string{
		"Rana Sevdalioğlu":     "Rana Sevdalioğlu",
		"Ελένη Καρδίτσα":       "Ελένη Καρδίτσα",
		"Лада Ветрова":         "Лада Ветрова",
		"Zoe\u0308 Brae":       "Zoë Brae",
		"山田 花":                 "a07",
		"عدنان":                "a07",
		"Mixed 花":              "a07",
		"":                     "a07",
		"two\nlines\tand tabs": "two lines and tabs",
	} {
		p := chart.Trace(chart.TraceData{Who: chart.Person{ID: "a07", Name: name}, Size: small})
		svg, err := p.Inline()
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Split(words(t, svg), "\n"); !contains(got, want) {
			t.Errorf("%q is drawn as %q, want %q", name, got, want)
		}
	}
}

func contains(lines []string, want string) bool {
	for _, l := range lines {
		if strings.TrimSpace(l) == want {
			return true
		}
	}
	return false
}

func TestTheSquadsShiftIsAsSureAsItIsKnownToBe(t *testing.T) {
	for _, c := range []struct {
		what          string
		low, high, se schemas.Number
		want          string
	}{
		{"an interval", schemas.Num(0.1), schemas.Num(1.4), schemas.Num(0.3), "shift that day, +0.8 (+0.1 to +1.4)."},
		{"a standard error", schemas.Number{}, schemas.Number{}, schemas.Num(0.3), "shift that day, +0.8 (standard error 0.3)."},
		{"neither", schemas.Number{}, schemas.Number{}, schemas.Number{}, "shift that day, +0.8."},
	} {
		d := day()
		d.Shift, d.ShiftLow, d.ShiftHigh, d.ShiftSE = schemas.Num(0.8), c.low, c.high, c.se
		svg, err := chart.Squad(d).Inline()
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.ReplaceAll(words(t, svg), "\n", " "); !strings.Contains(got, c.want) {
			t.Errorf("%s: no %q in %q", c.what, c.want, got)
		}
	}
}

func TestAltSaysWhatMatters(t *testing.T) {
	for _, c := range []struct {
		alt  string
		want []string
	}{
		{chart.Session(traces()).Alt, []string{"6 small panels", "Ed Harrowgate (doubtful trace: strap slip)"}},
		{chart.Squad(day()).Alt, []string{"Athlete B +3.9 (beyond the thresholds), Athlete D +1.2", "Athlete E 0.0", "New Signing (building baseline, 2 of 4)"}},
		{chart.History(past()).Alt, []string{"HRex of 8 tests", "78.8 to 84.8 expected", "strap slipped"}},
		{chart.Trace(chart.TraceData{Outcome: made(0, 156, 41), Seconds: marred(), Protocol: steady}).Alt, []string{
			"HRex 82.1 %HRmax (156 bpm)", "spike 4 s (1:00 to 1:04)", "no reading 31 s (1:40 to 1:46, 2:30 to 2:55)", "strap slip 15 s (3:10 to 3:25)"}},
	} {
		for _, w := range c.want {
			if !strings.Contains(c.alt, w) {
				t.Errorf("%q is not in %q", w, c.alt)
			}
		}
	}
}

func TestAFullSquadFits(t *testing.T) {
	d := chart.SessionData{Title: "everybody", Protocol: steady}
	for range chart.MaxPanels + 3 {
		d.Tests = append(d.Tests, traces().Tests...)
	}
	d.Tests = d.Tests[:chart.MaxPanels+3]
	p := chart.Session(d)
	b, err := p.PNG()
	if err != nil {
		t.Fatal(err)
	}
	cfg, err := png.DecodeConfig(bytes.NewReader(b))
	if err != nil || cfg.Width != 1000 || cfg.Height > 3200 {
		t.Errorf("%d x %d pixels (%v), want 1000 wide and no more than 3200 high", cfg.Width, cfg.Height, err)
	}
	svg, err := p.Inline()
	if err != nil {
		t.Fatal(err)
	}
	if got := words(t, svg); !strings.Contains(got, "and 3 more tests") {
		t.Error("the tests that are not shown are not counted")
	}
}

func BenchmarkSession(b *testing.B) {
	d := chart.SessionData{Title: "everybody", Protocol: steady}
	for range 7 {
		d.Tests = append(d.Tests, traces().Tests...)
	}
	d.Tests = d.Tests[:chart.MaxPanels]
	b.Run("PNG", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := chart.Session(d).PNG(); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("SVG", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := chart.Session(d).Inline(); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkPictures draws what goes with a message about a change.
func BenchmarkPictures(b *testing.B) {
	trace := chart.TraceData{Who: chart.Person{ID: "a07", Name: "Ada Quill"}, Outcome: made(0, 156, 41), Seconds: rise(156, 41), Protocol: steady}
	b.ReportAllocs()
	for b.Loop() {
		for _, p := range []*chart.Picture{chart.History(past()), chart.Trace(trace)} {
			if _, err := p.PNG(); err != nil {
				b.Fatal(err)
			}
		}
	}
}
