package chart

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"canter.example/schemas"
)

// SessionTest is one test of a session with its trace.
type SessionTest struct {
	Who     Person
	Outcome schemas.Outcome
	Seconds []schemas.TraceSecond
}

// SessionData is all tests that were run together.
type SessionData struct {
	// Title names the session, such as "First squad, Tue 3 Nov 2026".
	Title string
	// Tests in the order they are to be shown in; the first MaxPanels are.
	Tests    []SessionTest
	Protocol *schemas.Protocol
	Zone     *time.Location
	Size     Size
}

// MaxPanels is how many traces fit into one picture.
const MaxPanels = 40

// Session draws all traces of a session from their common start as small
// panels of one scale. Behind each lies the middle of all of them, dotted, so
// that an odd shape shows against its team-mates'; what is not simply good has
// a thick frame and says why.
func Session(d SessionData) *Picture {
	p := newPicture(d.Size)
	p.Title = strings.Join(nonEmpty("All traces", drawable(d.Title)), ": ")
	shown := d.Tests[:min(len(d.Tests), MaxPanels)]
	p.titled(p.ink.title, p.Title)
	s := newPanels(&d, shown)
	p.above(p.ink.small, s.key())
	if n := len(d.Tests) - len(shown); n > 0 {
		p.below(p.ink.text, fmt.Sprintf("and %d more tests, which are not shown", n))
	}
	p.Alt = sessionAlt(p.Title, d.Tests)
	s.lay(p)
	p.paint = func(c draw.Canvas) { s.paint(c, p.ink) }
	return p
}

func sessionAlt(title string, tests []SessionTest) string {
	if len(tests) == 0 {
		return title + ". No tests."
	}
	var odd []string
	for i := range tests {
		if o := &tests[i].Outcome; !plainlyGood(o) {
			odd = append(odd, tests[i].Who.label()+" ("+strings.Join(nonEmpty(QualityWords(o), BriefReason(o)), ": ")+")")
		}
	}
	s := fmt.Sprintf("%s. %d small panels, one a test.", title, len(tests))
	if len(odd) == 0 {
		return s + " All traces good."
	}
	return s + " Not simply good: " + strings.Join(odd, ", ") + "."
}

func plainlyGood(o *schemas.Outcome) bool {
	return o.Quality == schemas.Good && o.Staff != schemas.Excluded
}

// panels is the grid of a session.
type panels struct {
	tests    []SessionTest
	protocol *schemas.Protocol
	// percent: all have an HRmax, so all are shown in %HRmax.
	percent        bool
	x0, x1, y0, y1 float64
	middle         run
	columns, rows  int
	tall           vg.Length
}

func newPanels(d *SessionData, shown []SessionTest) *panels {
	s := &panels{tests: shown, protocol: d.Protocol, percent: len(shown) > 0}
	s.x0, s.x1 = -30, 0
	for i := range shown {
		o := &shown[i].Outcome
		s.percent = s.percent && o.HRmax.BPM.Or(0) > 0
		s.x1 = max(s.x1, length(o, d.Protocol)+20)
		for _, w := range recoveryWindows(o, d.Protocol) {
			s.x1 = max(s.x1, w.to+10)
		}
	}
	s.x1 = max(min(s.x1, 3*3600), s.x0+60)
	var ys span
	for i := range shown {
		for _, r := range runs(shown[i].Seconds, s.x0, s.x1) {
			for _, v := range r.bpm {
				ys.add(min(max(s.value(&shown[i].Outcome, v), 20), 260))
			}
		}
	}
	if !ys.some {
		ys.add(100, 180)
	}
	s.y0, s.y1 = ys.widened(0.04, 30, 5)
	s.middle = s.typical()
	return s
}

func (s *panels) value(o *schemas.Outcome, bpm float64) float64 {
	if s.percent {
		return 100 * bpm / o.HRmax.BPM.Or(1)
	}
	return bpm
}

func (s *panels) unit() string {
	if s.percent {
		return "%HRmax"
	}
	return "bpm"
}

func (s *panels) key() string {
	text := fmt.Sprintf("Heart rate in %s over minutes since each start. Hatched: HRex.", s.unit())
	if len(s.middle.second) > 0 {
		text += " Dotted: the middle of all."
	}
	return text + " Thick frame: not simply good. Black below: not used."
}

// typical is the median of all traces, second by second, where at least five
// have a value: fewer have no middle worth looking at.
func (s *panels) typical() run {
	const fewest = 5
	at := map[int][]float64{}
	for i := range s.tests {
		t := &s.tests[i]
		if !plainlyGood(&t.Outcome) {
			continue
		}
		for j := range t.Seconds {
			sec := &t.Seconds[j]
			if v, ok := sec.Clean.Get(); ok && float64(sec.Second) >= s.x0 && float64(sec.Second) <= s.x1 {
				at[sec.Second] = append(at[sec.Second], s.value(&t.Outcome, v))
			}
		}
	}
	var r run
	for sec := int(s.x0); sec <= int(s.x1); sec += 2 {
		if vs := at[sec]; len(vs) >= fewest {
			slices.Sort(vs)
			r.second, r.bpm = append(r.second, float64(sec)), append(r.bpm, vs[len(vs)/2])
		}
	}
	return r
}

// lay decides on rows and columns.
func (s *panels) lay(p *Picture) {
	n := len(s.tests)
	switch {
	case n <= 2:
		s.columns = max(n, 1)
	case n <= 4:
		s.columns = 2
	case n <= 24:
		s.columns = 3
	default:
		s.columns = 4
	}
	if p.width >= 45*p.ink.size { // small type on a wide page
		s.columns = min(max(n, 1), 5)
	}
	s.rows = max((n+s.columns-1)/s.columns, 1)
	wide := p.inner() / vg.Length(s.columns)
	s.tall = min(wide*0.62, p.ink.size*7) + 2.6*p.ink.size
	p.body = vg.Length(s.rows)*s.tall + 1.4*p.ink.size
}

func (s *panels) paint(c draw.Canvas, k ink) {
	if len(s.tests) == 0 {
		put(c, k.text, draw.XCenter, c.Center().X, c.Center().Y, "no tests")
		return
	}
	gutter := k.small.Width("100") + k.size*0.5
	wide := (c.Max.X - c.Min.X - gutter) / vg.Length(s.columns)
	for i := range s.tests {
		col, row := i%s.columns, i/s.columns
		r := vg.Rectangle{Min: vg.Point{X: c.Min.X + gutter + vg.Length(col)*wide, Y: c.Max.Y - vg.Length(row+1)*s.tall}}
		r.Max = vg.Point{X: r.Min.X + wide - k.size*0.5, Y: r.Min.Y + s.tall - k.size*0.3}
		r.Min.X += k.size * 0.1
		below := i+s.columns >= len(s.tests)
		s.panel(c, k, r, &s.tests[i], col == 0, below)
	}
}

// panel draws one test: a line of words over it, one under it.
func (s *panels) panel(c draw.Canvas, k ink, r vg.Rectangle, t *SessionTest, left, below bool) {
	o, good := &t.Outcome, plainlyGood(&t.Outcome)
	area := r
	area.Max.Y -= k.size * 1.15
	area.Min.Y += k.size * 1.15
	m := mapping{area, s.x0, s.x1, s.y0, s.y1}
	s.words(c, k, r, t, good)

	for _, w := range hrexWindows(o, s.protocol, t.Seconds) {
		hatch(c, vg.Rectangle{Min: m.at(w.from, s.y0), Max: m.at(w.to, s.y1)}, k.stroke(light, 3), k.size*0.3)
	}
	for _, x := range []float64{0, length(o, s.protocol)} {
		c.StrokeLine2(k.stroke(mid, 4), m.x(x), area.Min.Y, m.x(x), area.Max.Y)
	}
	if len(s.middle.second) > 1 {
		c.StrokeLines(k.stroke(dark, 5, 6, 14), thin(s.middle, m))
	}
	scaled := make([]schemas.TraceSecond, len(t.Seconds))
	for i, sec := range t.Seconds {
		if v, ok := sec.Clean.Get(); ok {
			sec.Clean = schemas.Num(s.value(o, v))
		}
		scaled[i] = sec
	}
	strokeTrace(c, k, m, scaled, 9)
	for _, g := range droppedRuns(t.Seconds) {
		if float64(g.to) > s.x0 && float64(g.from) < s.x1 {
			low := m.at(float64(g.from), s.y0)
			fill(c, vg.Rectangle{Min: low, Max: vg.Point{X: m.x(float64(g.to)), Y: low.Y + k.size*0.25}}, black)
		}
	}
	if good {
		frame(c, area, k.stroke(mid, 4))
	} else {
		frame(c, area, k.stroke(black, 18))
	}
	s.ticks(c, k, m, left, below, !good)
}

// words names the athlete and the numbers; a doubtful test says so.
func (s *panels) words(c draw.Canvas, k ink, r vg.Rectangle, t *SessionTest, good bool) {
	o, wide := &t.Outcome, r.Max.X-r.Min.X
	number := o.HRexPct.Text(1)
	if !s.percent {
		number = o.HRexBPM.Text(0)
	}
	name := k.bold
	name.Font.Size = k.small.Font.Size
	room := wide - k.small.Width(number) - k.size*0.3
	put(c, name, draw.XLeft, r.Min.X, r.Max.Y-k.size*0.85, fit(t.Who.label(), name, room))
	put(c, k.small, draw.XRight, r.Max.X, r.Max.Y-k.size*0.85, number)
	if good {
		return
	}
	// Under a panel is room for few words: why, which also says that.
	why := BriefReason(o)
	switch {
	case o.Staff == schemas.Accepted:
		why = "accepted by staff"
	case o.Staff == schemas.Excluded || why == "":
		why = QualityWords(o)
	case o.Quality == schemas.Reject:
		why = "unusable: " + why
	default:
		why = "doubtful: " + why
	}
	put(c, k.small, draw.XLeft, r.Min.X, r.Min.Y+k.size*0.22, fit(why, k.small, wide))
}

// ticks label the outer panels only; all have the same scale.
func (s *panels) ticks(c draw.Canvas, k ink, m mapping, left, below, worded bool) {
	if left {
		for _, t := range numbered(steps(s.y0, s.y1, 4), "") {
			y := m.y(t.Value)
			c.StrokeLine2(k.stroke(black, 4), m.Min.X-k.size*0.2, y, m.Min.X, y)
			put(c, k.small, draw.XRight, m.Min.X-k.size*0.3, y-k.size*0.3, t.Label)
		}
	}
	if !below {
		return
	}
	under := k.size * 1.05
	if worded {
		under += k.size
	}
	for _, t := range minuteTicks(s.x0, s.x1, 6) {
		x := m.x(t.Value)
		c.StrokeLine2(k.stroke(black, 4), x, m.Min.Y-k.size*0.2, x, m.Min.Y)
		put(c, k.small, draw.XCenter, x, m.Min.Y-under, t.Label)
	}
}
