package chart

import (
	"fmt"
	"image/color"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"canter.example/schemas"
)

// HistoryTest is one test of an athlete with what it was compared with.
type HistoryTest struct {
	Outcome schemas.Outcome
	// Assessment as made of this test; nil when there is none.
	Assessment *schemas.Assessment
}

// Note is something staff did or wrote, at the time of what it is about.
type Note struct {
	At   time.Time
	Text string
}

// HistoryData is an athlete's tests by one protocol.
type HistoryData struct {
	Who Person
	// Tests ascending by start; the last is the one at hand.
	Tests []HistoryTest
	// Notes are lettered in the picture and written out under it, the last
	// MaxNotes of them.
	Notes []Note
	// Protocol names the tests; may be nil.
	Protocol *schemas.Protocol
	Zone     *time.Location
	Size     Size
}

// MaxNotes is how many notes are written under a history.
const MaxNotes = 8

// History draws an athlete's HRex over time and the first HRR under it. Each
// test stands before the baseline mean and prediction interval that it was
// compared with at the time, so that the picture and the words of that day
// agree. Bpm are turned into %HRmax with the HRmax of the last test
// throughout: a new HRmax is no change of the heart.
func History(d HistoryData) *Picture {
	p := newPicture(d.Size)
	h := newCourse(&d)
	p.Title = "History of " + d.Who.label()
	p.titled(p.ink.title, d.Who.label())
	if n := len(d.Tests); n > 0 {
		last := &d.Tests[n-1].Outcome
		p.titled(p.ink.text, strings.Join(nonEmpty(protocolName(last, d.Protocol), moment(last.Start, d.Zone)), ", to "))
		p.above(p.ink.small, "Grey: where an unchanged athlete's next test falls, 95 times in 100; line in it: baseline mean")
	}
	p.below(p.ink.small, h.key())
	for i, n := range h.notes {
		p.below(p.ink.small, fmt.Sprintf("%s  %s: %s", letter(i), n.At.In(zone(d.Zone)).Format("2 Jan"), n.Text))
	}
	if n := len(d.Notes) - len(h.notes); n > 0 {
		p.below(p.ink.small, fmt.Sprintf("and %d earlier notes", n))
	}
	p.Alt = strings.Join(nonEmpty(p.Title, h.alt()), ". ")
	p.body = p.share(0.3) * vg.Length(len(h.series))
	p.paint = func(c draw.Canvas) { h.paint(c, p.ink) }
	return p
}

// course is what History draws.
type course struct {
	series   []series
	notes    []Note
	zone     *time.Location
	from, to time.Time
	kinds    map[mark]bool
}

// series is one measure over time.
type series struct {
	name, unit string
	decimals   int
	points     []point
	// absent are the times of tests without this number.
	absent []time.Time
}

type point struct {
	at    time.Time
	value float64
	mark  mark
	// mean, low and high of the comparison; NaN when there was none.
	mean, low, high float64
}

// mark is how a test is drawn, by what it counts for.
type mark int

const (
	counted mark = iota
	acceptedByStaff
	doubtful
	leftOut
)

var markWords = [...]string{
	counted: "counted", acceptedByStaff: "doubtful, accepted by staff",
	doubtful: "doubtful, not counted", leftOut: "left out or unusable",
}

func markOf(o *schemas.Outcome) mark {
	switch {
	case o.Staff == schemas.Excluded || o.Quality == schemas.Reject:
		return leftOut
	case o.Valid() && o.Quality == schemas.Check:
		return acceptedByStaff
	case o.Valid():
		return counted
	default:
		return doubtful
	}
}

func newCourse(d *HistoryData) *course {
	h := &course{zone: zone(d.Zone), kinds: map[mark]bool{}}
	h.notes = slices.Clone(d.Notes)
	slices.SortStableFunc(h.notes, func(a, b Note) int { return a.At.Compare(b.At) })
	h.notes = h.notes[max(0, len(h.notes)-MaxNotes):]
	for i := range d.Tests {
		t := d.Tests[i].Outcome.Start
		if h.from.IsZero() || t.Before(h.from) {
			h.from = t
		}
		if t.After(h.to) {
			h.to = t
		}
	}
	if len(d.Tests) == 0 {
		h.series = []series{{name: "HRex", unit: "%HRmax"}}
		return h
	}
	last := &d.Tests[len(d.Tests)-1].Outcome
	hrmax := last.HRmax.BPM.Or(0)
	h.series = append(h.series, h.measure(d.Tests, schemas.MeasureHRex, 0, hrmax))
	for _, seconds := range delays(d.Tests) {
		h.series = append(h.series, h.measure(d.Tests, schemas.MeasureHRR, seconds, 0))
		break // one is enough for a phone
	}
	return h
}

// delays returns the delays of HRR in the tests, the latest test's first.
func delays(tests []HistoryTest) []int {
	var out []int
	for i := range slices.Backward(tests) {
		for _, r := range tests[i].Outcome.Recovery {
			if !slices.Contains(out, r.Seconds) {
				out = append(out, r.Seconds)
			}
		}
	}
	return out
}

// measure collects one measure; hrmax 0 leaves HRex in bpm.
func (h *course) measure(tests []HistoryTest, m schemas.Measure, seconds int, hrmax float64) series {
	s := series{name: m.Name(seconds), unit: "bpm"}
	if m == schemas.MeasureHRex && hrmax > 0 {
		s.unit, s.decimals = "%HRmax", 1
	}
	for i := range tests {
		o := &tests[i].Outcome
		bpm := o.HRexBPM
		if m == schemas.MeasureHRR {
			r, _ := o.HRR(seconds)
			bpm = r.BPM
		}
		v, ok := bpm.Get()
		if !ok {
			s.absent = append(s.absent, o.Start)
			continue
		}
		scale := 1.0 // from bpm to the series' unit
		if s.decimals > 0 {
			scale = 100 / hrmax
		}
		pt := point{at: o.Start, value: v * scale, mark: markOf(o), mean: math.NaN(), low: math.NaN(), high: math.NaN()}
		if c := comparison(tests[i].Assessment, m, seconds); c != nil && c.State != schemas.Building {
			if m == schemas.MeasureHRex && c.Unit != "bpm" { // points of that test's HRmax
				scale *= o.HRmax.BPM.Or(0) / 100
			}
			if c.Mean.Present() && scale > 0 {
				pt.mean, pt.low, pt.high = c.Mean.Or(0)*scale, c.PredLow.Or(math.NaN())*scale, c.PredHigh.Or(math.NaN())*scale
			}
		}
		h.kinds[pt.mark] = true
		s.points = append(s.points, pt)
	}
	return s
}

func comparison(a *schemas.Assessment, m schemas.Measure, seconds int) *schemas.Comparison {
	if a == nil {
		return nil
	}
	return a.Comparison(m, seconds)
}

func (h *course) key() string {
	var parts []string
	for _, m := range []struct {
		mark  mark
		glyph string
	}{{counted, "full circle"}, {acceptedByStaff, "full square"}, {doubtful, "open circle"}, {leftOut, "open circle with a cross"}} {
		if h.kinds[m.mark] {
			parts = append(parts, m.glyph+": "+markWords[m.mark])
		}
	}
	if slices.ContainsFunc(h.series, func(s series) bool { return len(s.absent) > 0 }) {
		parts = append(parts, "cross at the bottom: a test without this number")
	}
	return sentence(strings.Join(parts, "; "))
}

func (h *course) alt() string {
	var parts []string
	for _, s := range h.series {
		n := len(s.points)
		if n == 0 {
			parts = append(parts, "No "+s.name)
			continue
		}
		last := s.points[n-1]
		tests := fmt.Sprintf("%d tests, the last", n)
		if n == 1 {
			tests = "1 test:"
		}
		text := fmt.Sprintf("%s of %s %.*f %s", s.name, tests, s.decimals, last.value, s.unit)
		if !math.IsNaN(last.low) && !math.IsNaN(last.high) {
			text += fmt.Sprintf(", %.*f to %.*f expected about a mean of %.*f", s.decimals, last.low, s.decimals, last.high, s.decimals, last.mean)
		}
		parts = append(parts, text)
	}
	for _, n := range h.notes {
		parts = append(parts, n.At.In(h.zone).Format("2 Jan")+": "+drawable(n.Text))
	}
	return strings.Join(parts, ". ")
}

func (h *course) paint(c draw.Canvas, k ink) {
	if h.from.IsZero() {
		put(c, k.text, draw.XCenter, c.Center().X, c.Center().Y, "no tests")
		return
	}
	edge := max(h.to.Sub(h.from)/25, 4*24*time.Hour)
	from, to := h.from.Add(-edge).In(h.zone), h.to.Add(edge).In(h.zone)
	x0, x1 := float64(from.Unix()), float64(to.Unix())
	room := int((c.Max.X - c.Min.X) / (k.text.Width("Jan 06") * 1.6))
	var plots [][]*plot.Plot
	for i := range h.series {
		s := &h.series[i]
		y0, y1 := s.scale()
		p := k.axes(x0, x1, y0, y1, dayTicks(from, to, max(room, 2)), numbered(steps(y0, y1, 5), ""))
		p.Y.Label.Text = s.name + ", " + s.unit
		p.Add(painter(func(c draw.Canvas, m mapping) { s.paint(c, k, m) }))
		plots = append(plots, []*plot.Plot{p})
	}
	c.Max.X -= lastRoom(k, h.series)
	if len(h.notes) > 0 {
		c.Max.Y -= k.size * 1.1 // letters
	}
	tiles := plot.Align(plots, draw.Tiles{Rows: len(plots), Cols: 1, PadY: k.size * 0.6}, c)
	for i := range plots {
		plots[i][0].Draw(tiles[i][0])
		data := plots[i][0].DataCanvas(tiles[i][0])
		m := mapping{data.Rectangle, x0, x1, plots[i][0].Y.Min, plots[i][0].Y.Max}
		h.letters(tiles[i][0], k, m, i == 0)
		h.series[i].last(tiles[i][0], k, m)
	}
}

// lastRoom is how wide the last values are, which stand right of the plots.
func lastRoom(k ink, all []series) (room vg.Length) {
	for _, s := range all {
		if n := len(s.points); n > 0 {
			room = max(room, k.bold.Width(fmt.Sprintf("%.*f", s.decimals, s.points[n-1].value)))
		}
	}
	return room + k.size*0.3
}

func (s *series) scale() (low, high float64) {
	var all span
	for _, p := range s.points {
		all.add(p.value, p.low, p.high)
	}
	if !all.some {
		all.add(0, 1)
	}
	return all.widened(0.08, 6, 1)
}

// paint draws the intervals, then the tests.
func (s *series) paint(c draw.Canvas, k ink, m mapping) {
	n := len(s.points)
	for i, p := range s.points {
		if math.IsNaN(p.low) || math.IsNaN(p.high) {
			continue
		}
		// Each interval reaches half way to the neighbours: they join to a
		// stepped band.
		half := func(j int) vg.Length { return (m.x(float64(p.at.Unix())) + m.x(float64(s.points[j].at.Unix()))) / 2 }
		x := m.x(float64(p.at.Unix()))
		left, right := x-k.size*0.5, x+k.size*0.5
		if i > 0 {
			left = max(half(i-1), x-k.size*3)
		}
		if i+1 < n {
			right = min(half(i+1), x+k.size*3)
		}
		fill(c, vg.Rectangle{Min: vg.Point{X: left, Y: m.y(p.low)}, Max: vg.Point{X: right, Y: m.y(p.high)}}, pale)
		for _, y := range []float64{p.low, p.high} {
			c.StrokeLine2(k.stroke(mid, 4), left, m.y(y), right, m.y(y))
		}
		c.StrokeLine2(k.stroke(dark, 6, 20, 12), left, m.y(p.mean), right, m.y(p.mean))
	}
	for _, t := range s.absent {
		at, d := vg.Point{X: m.x(float64(t.Unix())), Y: m.Min.Y + k.size*0.35}, k.size*0.2
		c.StrokeLine2(k.stroke(black, 8), at.X-d, at.Y-d, at.X+d, at.Y+d)
		c.StrokeLine2(k.stroke(black, 8), at.X-d, at.Y+d, at.X+d, at.Y-d)
	}
	var line []vg.Point // through the tests that count
	for _, p := range s.points {
		if p.mark == counted || p.mark == acceptedByStaff {
			line = append(line, m.at(float64(p.at.Unix()), p.value))
		}
	}
	if len(line) > 1 {
		c.StrokeLines(k.stroke(dark, 5), line)
	}
	for i, p := range s.points {
		size := k.size * 0.24
		if i == n-1 {
			size = k.size * 0.36
		}
		glyph(c, k, m.at(float64(p.at.Unix()), p.value), p.mark, size)
	}
}

// glyph draws a test's mark.
func glyph(c draw.Canvas, k ink, at vg.Point, m mark, r vg.Length) {
	circle := func(ground color.Color, radius vg.Length) {
		c.DrawGlyph(draw.GlyphStyle{Color: ground, Radius: radius, Shape: draw.CircleGlyph{}}, at)
	}
	circle(white, r*1.35)
	switch m {
	case counted:
		circle(black, r)
	case acceptedByStaff:
		fill(c, vg.Rectangle{Min: vg.Point{X: at.X - r*0.9, Y: at.Y - r*0.9}, Max: vg.Point{X: at.X + r*0.9, Y: at.Y + r*0.9}}, black)
	case doubtful, leftOut:
		circle(black, r*1.2)
		circle(white, r*0.85)
		if m == leftOut {
			s := k.stroke(black, 7)
			d := r * 0.8
			c.StrokeLine2(s, at.X-d, at.Y-d, at.X+d, at.Y+d)
			c.StrokeLine2(s, at.X-d, at.Y+d, at.X+d, at.Y-d)
		}
	}
}

// last writes the last value beside its mark.
func (s *series) last(c draw.Canvas, k ink, m mapping) {
	if n := len(s.points); n > 0 {
		p := s.points[n-1]
		put(c, k.bold, draw.XLeft, m.Max.X+k.size*0.2, m.y(p.value)-k.size*0.35, fmt.Sprintf("%.*f", s.decimals, p.value))
	}
}

// letters marks the notes: a line through the plot, its letter on top.
func (h *course) letters(c draw.Canvas, k ink, m mapping, name bool) {
	right := m.Min.X - k.size*9
	for i, n := range h.notes {
		x := m.x(float64(n.At.Unix()))
		c.StrokeLine2(k.stroke(mid, 4, 8, 20), x, m.Min.Y, x, m.Max.Y)
		if !name {
			continue
		}
		text := letter(i)
		at := max(x-k.bold.Width(text)/2, right+k.size*0.15)
		right = at + k.bold.Width(text)
		put(c, k.bold, draw.XLeft, at, m.Max.Y+k.size*0.15, text)
	}
}

func letter(i int) string { return string(rune('a' + i%26)) }
