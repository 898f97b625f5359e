package chart

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"canter.example/schemas"
)

// TraceData is one test with its trace.
type TraceData struct {
	Who     Person
	Outcome schemas.Outcome
	// Seconds is the trace window as history keeps it, ascending.
	Seconds []schemas.TraceSecond
	// Protocol says where the windows and the band are; nil when it is not
	// known: then start, end and the delays of recovery are marked.
	Protocol *schemas.Protocol
	// Zone of times, nil for UTC.
	Zone *time.Location
	Size Size
}

// Lead-in and after-time of a trace that are shown around the test, in
// seconds: enough to see the warm-up and the fall, without shrinking the test.
const (
	leadIn = 60
	after  = 45
)

// Trace draws a test: heart rate around it, where HRex and HRR were read,
// what was dropped and why, the intended band, in bpm and %HRmax.
func Trace(d TraceData) *Picture {
	p := newPicture(d.Size)
	o := &d.Outcome
	p.Title = fmt.Sprintf("Trace of %s, %s", d.Who.label(), moment(o.Start, d.Zone))
	p.titled(p.ink.title, d.Who.label())
	p.titled(p.ink.text, strings.Join(nonEmpty(protocolName(o, d.Protocol), moment(o.Start, d.Zone)), ", "))
	p.titled(p.ink.bold, traceNumbers(o))
	drops := dropWords(droppedRuns(d.Seconds), traceFrom(), traceTo(o, d.Protocol))
	if drops != "" && d.crosses() {
		drops += "; crosses: what the strap gave there"
	}
	p.below(p.ink.small, drops)
	for _, r := range mainReasons(o) {
		if !p.bare {
			p.below(p.ink.small, r)
		}
	}
	p.Alt = strings.Join(nonEmpty(p.Title, traceNumbers(o), drops, strings.Join(mainReasons(o), " ")), ". ")
	p.body = p.share(0.56)
	p.paint = func(c draw.Canvas) { d.paint(c, p.ink) }
	return p
}

// crosses reports whether dropped readings are drawn.
func (d *TraceData) crosses() bool {
	from, to := traceFrom(), traceTo(&d.Outcome, d.Protocol)
	return slices.ContainsFunc(d.Seconds, func(t schemas.TraceSecond) bool {
		return t.Dropped != "" && t.Raw.Present() && float64(t.Second) >= from && float64(t.Second) <= to
	})
}

func traceFrom() float64 { return -leadIn }

func traceTo(o *schemas.Outcome, p *schemas.Protocol) float64 {
	to := length(o, p) + after
	for _, w := range recoveryWindows(o, p) {
		to = max(to, w.to+after/2)
	}
	return to
}

// traceNumbers is the result in one line.
func traceNumbers(o *schemas.Outcome) string {
	var parts []string
	switch {
	case o.HRexPct.Present():
		parts = append(parts, fmt.Sprintf("HRex %s %%HRmax%s (%s bpm)", o.HRexPct.Text(1), estimated(o), o.HRexBPM.Text(0)))
	case o.HRexBPM.Present():
		parts = append(parts, fmt.Sprintf("HRex %s bpm", o.HRexBPM.Text(0)))
	default:
		parts = append(parts, "No HRex")
	}
	for _, r := range o.Recovery {
		if r.BPM.Present() {
			parts = append(parts, fmt.Sprintf("HRR%d %s bpm", r.Seconds, r.BPM.Text(0)))
		} else {
			parts = append(parts, fmt.Sprintf("no HRR%d", r.Seconds))
		}
	}
	return strings.Join(append(parts, QualityWords(o)), "; ")
}

func estimated(o *schemas.Outcome) string {
	if o.HRmax.Source == schemas.HRmaxEstimated {
		return " (HRmax estimated)"
	}
	return ""
}

// QualityWords says in a few words what a test may be used for.
func QualityWords(o *schemas.Outcome) string {
	switch {
	case o.Staff == schemas.Excluded:
		return "left out by staff"
	case o.Quality == schemas.Reject:
		return "trace unusable"
	case o.Quality == schemas.Check && o.Staff == schemas.Accepted:
		return "doubtful trace, accepted by staff"
	case o.Quality == schemas.Check:
		return "doubtful trace"
	case o.Quality == schemas.Good:
		return "trace good"
	default:
		return "trace not rated"
	}
}

func (d *TraceData) paint(c draw.Canvas, k ink) {
	o, end := &d.Outcome, length(&d.Outcome, d.Protocol)
	x0, x1 := traceFrom(), traceTo(&d.Outcome, d.Protocol)
	hrmax := o.HRmax.BPM.Or(0)
	y0, y1 := d.scale(x0, x1)
	hrex, rec := hrexWindows(o, d.Protocol, d.Seconds), recoveryWindows(o, d.Protocol)
	names := append([]window{{"start", 0, 0}, {"end", end, end}}, slices.Concat(hrex, rec)...)
	if notFound(o) {
		hrex, rec, names, end = nil, nil, nil, 0
	}

	p := k.axes(x0, x1, y0, y1, minuteTicks(x0, x1, 10), numbered(steps(y0, y1, 7), ""))
	p.X.Label.Text, p.Y.Label.Text = "minutes since the start", "bpm"
	p.Add(
		painter(func(c draw.Canvas, m mapping) { d.band(c, k, m, end) }),
		painter(func(c draw.Canvas, m mapping) { markWindows(c, k, m, hrex, rec) }),
		painter(func(c draw.Canvas, m mapping) { d.nameBand(c, k, m, end) }),
		painter(func(c draw.Canvas, m mapping) {
			for _, x := range []float64{0, end} {
				if notFound(o) {
					break
				}
				c.StrokeLine2(k.stroke(black, 7), m.x(x), m.Min.Y, m.x(x), m.Max.Y)
			}
		}),
		painter(func(c draw.Canvas, m mapping) { strokeTrace(c, k, m, d.Seconds, 11) }),
		painter(func(c draw.Canvas, m mapping) { d.drops(c, k, m) }),
		painter(func(c draw.Canvas, m mapping) { d.levels(c, k, m, hrex, rec, end) }),
	)
	c.Max.Y -= k.text.Font.Size * 1.5 // names of windows and marks
	if hrmax > 0 {
		c.Max.X -= k.text.Width("100 %") + k.size*0.5
	}
	p.Draw(c)
	data := p.DataCanvas(c)
	m := mapping{data.Rectangle, x0, x1, y0, y1}
	nameWindows(c, k, m, names)
	if hrmax > 0 {
		percentAxis(c, k, m, hrmax)
	}
	if len(runs(d.Seconds, x0, x1)) == 0 {
		text := "no usable heart rate"
		if notFound(o) {
			text = "no test found in this file"
		}
		put(c, k.text, draw.XCenter, (m.Min.X+m.Max.X)/2, (m.Min.Y+m.Max.Y)/2, text)
	}
}

// notFound reports that the scorer found no test: then nothing has a place.
func notFound(o *schemas.Outcome) bool {
	return slices.ContainsFunc(o.Reasons, func(r schemas.Reason) bool { return r.Code == schemas.ReasonNoTest })
}

// scale returns the range of heart rates to show, in bpm.
func (d *TraceData) scale(x0, x1 float64) (low, high float64) {
	var s span
	for _, r := range runs(d.Seconds, x0, x1) {
		s.add(r.bpm...)
	}
	if p := d.Protocol; p != nil && d.Outcome.HRmax.BPM.Present() {
		s.add(p.BandLow*d.Outcome.HRmax.BPM.Or(0), p.BandHigh*d.Outcome.HRmax.BPM.Or(0))
	}
	if !s.some {
		s.add(100, 180)
	}
	// Dropped readings widen the scale, but may not flatten the trace.
	const reach = 20
	low, high = s.low-reach, s.high+reach
	for i := range d.Seconds {
		if t := &d.Seconds[i]; t.Dropped != "" && t.Raw.Present() && float64(t.Second) >= x0 && float64(t.Second) <= x1 {
			s.add(min(max(t.Raw.Or(0), low), high))
		}
	}
	s.low, s.high = max(s.low, 20), max(min(s.high, 260), 21)
	if s.low > s.high {
		s.low = s.high - 1
	}
	return s.widened(0.06, 60, 5)
}

// band marks the intended intensity over the time of the test.
func (d *TraceData) band(c draw.Canvas, k ink, m mapping, end float64) {
	r, ok := d.bandArea(m, end)
	if !ok {
		return
	}
	fill(c, r, pale)
	for _, y := range []vg.Length{r.Min.Y, r.Max.Y} {
		c.StrokeLine2(k.stroke(mid, 4, 20, 20), r.Min.X, y, r.Max.X, y)
	}
}

func (d *TraceData) bandArea(m mapping, end float64) (vg.Rectangle, bool) {
	p, hrmax := d.Protocol, d.Outcome.HRmax.BPM.Or(0)
	if p == nil || hrmax <= 0 || !(p.BandHigh > p.BandLow) || end <= 0 {
		return vg.Rectangle{}, false
	}
	return vg.Rectangle{Min: m.at(0, p.BandLow*hrmax), Max: m.at(end, p.BandHigh*hrmax)}, true
}

// nameBand writes the band's name where the trace leaves room: into one of its
// corners, or under it.
func (d *TraceData) nameBand(c draw.Canvas, k ink, m mapping, end float64) {
	r, ok := d.bandArea(m, end)
	if !ok {
		return
	}
	text := fmt.Sprintf("intended %.0f to %.0f %%HRmax", 100*d.Protocol.BandLow, 100*d.Protocol.BandHigh)
	text = fit(text, k.small, r.Max.X-r.Min.X)
	wide, tall, pad := k.small.Width(text), k.small.Font.Size, k.size*0.4
	left, right := r.Min.X+pad, max(r.Max.X-pad-wide, r.Min.X)
	top, bottom := r.Max.Y-tall-pad*0.5, r.Min.Y+pad
	corners := []vg.Point{{X: left, Y: top}, {X: right, Y: bottom}, {X: right, Y: top}, {X: right, Y: r.Min.Y - tall - pad*0.5}}
	best, least := corners[0], -1
	for _, at := range corners {
		n := d.crossed(m, vg.Rectangle{Min: vg.Point{X: at.X - pad, Y: at.Y - pad}, Max: vg.Point{X: at.X + wide + pad, Y: at.Y + tall + pad*0.5}})
		if at.Y > m.Min.Y && (least < 0 || n < least) {
			best, least = at, n
		}
	}
	fill(c, vg.Rectangle{Min: vg.Point{X: best.X - pad/4, Y: best.Y - pad/2}, Max: vg.Point{X: best.X + wide + pad/4, Y: best.Y + tall*0.9}}, pale)
	put(c, k.small, draw.XLeft, best.X, best.Y, text)
}

// crossed counts the seconds of the trace that lie in a rectangle.
func (d *TraceData) crossed(m mapping, r vg.Rectangle) int {
	n := 0
	for i := range d.Seconds {
		v, ok := d.Seconds[i].Clean.Get()
		if p := m.at(float64(d.Seconds[i].Second), v); ok && p.X >= r.Min.X && p.X <= r.Max.X && p.Y >= r.Min.Y && p.Y <= r.Max.Y {
			n++
		}
	}
	return n
}

// markWindows hatches where HRex was averaged and shades where HRR was read.
func markWindows(c draw.Canvas, k ink, m mapping, hrex, rec []window) {
	for _, w := range hrex {
		r := vg.Rectangle{Min: m.at(w.from, m.y0), Max: m.at(w.to, m.y1)}
		hatch(c, r, k.stroke(mid, 3), k.size*0.4)
		c.StrokeLine2(k.stroke(dark, 4, 20, 20), r.Min.X, r.Min.Y, r.Min.X, r.Max.Y)
	}
	for _, w := range rec {
		if w.from > m.x1 {
			continue
		}
		fill(c, vg.Rectangle{Min: m.at(w.from, m.y0), Max: m.at(w.to, m.y1)}, light)
	}
}

// strokeTrace draws the heart rate that counted; bridged gaps are dotted.
func strokeTrace(c draw.Canvas, k ink, m mapping, trace []schemas.TraceSecond, width float64) {
	for _, r := range runs(trace, m.x0, m.x1) {
		style := k.stroke(black, width)
		if r.bridged {
			style = k.stroke(black, width*0.6, 10, 25)
		}
		points := thin(r, m)
		if len(points) == 1 { // a reading on its own
			points = append(points, vg.Point{X: points[0].X + style.Width, Y: points[0].Y})
		}
		c.StrokeLines(style, points)
	}
}

// thin turns a run into points, no more than a lowest and a highest for each
// half point of width: a picture can't show more, and files stay small.
func thin(r run, m mapping) []vg.Point {
	const apart = vg.Length(0.5)
	var out []vg.Point
	for i := 0; i < len(r.second); {
		x := m.x(r.second[i])
		low, high := i, i
		j := i
		for ; j < len(r.second) && m.x(r.second[j]) < x+apart; j++ {
			if r.bpm[j] < r.bpm[low] {
				low = j
			}
			if r.bpm[j] > r.bpm[high] {
				high = j
			}
		}
		out = append(out, m.at(r.second[min(low, high)], r.bpm[min(low, high)]))
		if low != high {
			out = append(out, m.at(r.second[max(low, high)], r.bpm[max(low, high)]))
		}
		i = j
	}
	return out
}

// drops crosses the readings that were dropped and lays a bar along the
// bottom under every second that did not count.
func (d *TraceData) drops(c draw.Canvas, k ink, m mapping) {
	for i := range d.Seconds {
		t := &d.Seconds[i]
		if v, ok := t.Raw.Get(); ok && t.Dropped != "" && float64(t.Second) >= m.x0 && float64(t.Second) <= m.x1 {
			at, r := m.at(float64(t.Second), v), k.size*0.13
			s := k.stroke(dark, 5)
			c.StrokeLine2(s, at.X-r, at.Y-r, at.X+r, at.Y+r)
			c.StrokeLine2(s, at.X-r, at.Y+r, at.X+r, at.Y-r)
		}
	}
	for _, g := range droppedRuns(d.Seconds) {
		if float64(g.to) <= m.x0 || float64(g.from) >= m.x1 {
			continue
		}
		low := m.at(float64(g.from), m.y0)
		high := vg.Point{X: m.x(float64(g.to)), Y: m.Min.Y + k.size*0.35}
		fill(c, vg.Rectangle{Min: low, Max: high}, black)
	}
}

// levels draws the means that became numbers as thick lines where they were
// taken, ringed in white so that the trace does not hide them.
func (d *TraceData) levels(c draw.Canvas, k ink, m mapping, hrex, rec []window, end float64) {
	level := func(from, to, bpm float64) {
		wide := max(m.x(to)-m.x(from), k.size*0.5)
		x := (m.x(from) + m.x(to) - wide) / 2
		c.StrokeLine2(k.stroke(white, 32), x, m.y(bpm), x+wide, m.y(bpm))
		c.StrokeLine2(k.stroke(black, 18), x, m.y(bpm), x+wide, m.y(bpm))
	}
	o := &d.Outcome
	if v, ok := o.HRexBPM.Get(); ok && len(hrex) == 1 {
		level(hrex[0].from, hrex[0].to, v)
	}
	for i, w := range hrex {
		if len(hrex) > 1 && i < len(o.Stages) && o.Stages[i].BPM.Present() {
			level(w.from, w.to, o.Stages[i].BPM.Or(0))
		}
	}
	endHR, ok := o.EndHR.Get()
	if !ok {
		return
	}
	if d.Protocol != nil {
		level(end-d.Protocol.EndWindow.Seconds(), end, endHR)
	}
	for _, w := range rec {
		for _, r := range o.Recovery {
			if v, ok := r.BPM.Get(); ok && w.name == fmt.Sprintf("HRR%d", r.Seconds) {
				level(w.from, w.to, endHR-v)
			}
		}
	}
}

// nameWindows writes what is what over the drawing, in two rows where names
// would touch.
func nameWindows(c draw.Canvas, k ink, m mapping, names []window) {
	slices.SortStableFunc(names, func(a, b window) int { return cmpFloat(a.from+a.to, b.from+b.to) })
	right := [2]vg.Length{m.Min.X - k.size*3, m.Min.X - k.size*3}
	for _, n := range names {
		wide := k.small.Width(n.name)
		x := (m.x(n.from) + m.x(n.to) - wide) / 2
		row := 0
		if x < right[0]+k.size*0.3 {
			row = 1
		}
		if x < right[row]+k.size*0.3 || n.from > m.x1 {
			continue // no room: its mark speaks for itself
		}
		right[row] = x + wide
		style := k.small
		y := m.Max.Y + k.size*0.3
		if row == 1 {
			y = m.Max.Y - k.size
		}
		if n.from == n.to {
			style = k.bold
			style.Font.Size = k.small.Font.Size
		}
		put(c, style, draw.XLeft, x, y, n.name)
	}
}

// percentAxis is the right axis, in %HRmax.
func percentAxis(c draw.Canvas, k ink, m mapping, hrmax float64) {
	x := m.Max.X
	c.StrokeLine2(k.stroke(black, 6), x, m.Min.Y, x, m.Max.Y)
	for _, t := range numbered(steps(100*m.y0/hrmax, 100*m.y1/hrmax, 6), " %") {
		y := m.y(t.Value * hrmax / 100)
		c.StrokeLine2(k.stroke(black, 6), x, y, x+k.size*0.25, y)
		put(c, k.text, draw.XLeft, x+k.size*0.4, y-k.size*0.35, t.Label)
	}
	e := k.text.FontExtents()
	baseline := c.Min.Y + e.Descent + k.text.Font.Size - e.Ascent // that of the axis label
	put(c, k.text, draw.XRight, c.Max.X+k.text.Width("100 %")+k.size*0.5, baseline, "%HRmax")
}

var _ plot.Plotter = painter(nil)
