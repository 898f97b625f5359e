package page

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"canter.example/schemas"
)

// A panel is one trace of a session, small, beside all others on one scale:
// thirty of them are looked through at a glance, where thirty lines in one
// picture can't be told apart.

// Size of a panel's drawing in units of its own, and how much time it shows.
const (
	panelWidth, panelHeight = 200, 92
	leadIn, afterEnd        = 60, 90
	panelStep               = 4 // seconds that one point of a line stands for
)

type panel struct {
	Test schemas.TestID
	Name string
	// Words about the trace; Marked gives it a thick frame, with Why.
	Words  string
	Marked bool
	Why    string
	// Line is what counted, Gap what was dropped or not recorded, Team the
	// middle of all traces: path data.
	Line, Team string
	// Ticks along the bottom are where readings were not used.
	Ticks string
	// Start and End of the run in units of the drawing.
	Start, End float64
	Empty      bool

	odd float64
}

// scale is shared by the panels of a session.
type scale struct {
	from, to  int // seconds
	low, high float64
}

func (s scale) x(second float64) float64 {
	return round1((second - float64(s.from)) / float64(s.to-s.from) * panelWidth)
}

func (s scale) y(bpm float64) float64 {
	return round1(panelHeight - (bpm-s.low)/(s.high-s.low)*panelHeight)
}

func round1(v float64) float64 { return math.Round(v*10) / 10 }

// curves are the mean heart rates of steps of a trace, absent where nothing counted.
type curve []schemas.Number

func curveOf(seconds []schemas.TraceSecond, sc scale) curve {
	n := (sc.to - sc.from) / panelStep
	sum, count := make([]float64, n), make([]int, n)
	for _, t := range seconds {
		if i := (t.Second - sc.from) / panelStep; t.Second >= sc.from && i < n {
			if v, ok := t.Clean.Get(); ok {
				sum[i] += v
				count[i]++
			}
		}
	}
	c := make(curve, n)
	for i := range c {
		if count[i] > 0 {
			c[i] = schemas.Num(sum[i] / float64(count[i]))
		}
	}
	return c
}

func (c curve) path(sc scale) string {
	var b strings.Builder
	pen := false
	for i, v := range c {
		bpm, ok := v.Get()
		if !ok {
			pen = false
			continue
		}
		command := "L"
		if !pen {
			command = "M"
		}
		pen = true
		fmt.Fprintf(&b, "%s%g %g", command, sc.x(float64(sc.from)+(float64(i)+0.5)*panelStep), sc.y(bpm))
	}
	return b.String()
}

// middle is the median of the curves at each step.
func middle(curves []curve) curve {
	if len(curves) == 0 {
		return nil
	}
	out := make(curve, len(curves[0]))
	for i := range out {
		var at []float64
		for _, c := range curves {
			if v, ok := c[i].Get(); ok {
				at = append(at, v)
			}
		}
		if len(at)*2 > len(curves) {
			out[i] = schemas.Num(median(at))
		}
	}
	return out
}

// oddness is how far a trace's shape is from its team-mates', in bpm: the root
// mean square of the distance, without the level, which is the athlete's own.
func (c curve) oddness(team curve) float64 {
	var d []float64
	for i, v := range c {
		if x := v.Minus(team[i]); x.Present() {
			d = append(d, x.Or(0))
		}
	}
	if len(d) < 5 {
		return 0
	}
	level, sum := median(d), 0.0
	for _, v := range d {
		sum += (v - level) * (v - level)
	}
	return math.Sqrt(sum / float64(len(d)))
}

// Our choice: a shape is unlike the others when it is twice as far from the
// middle as traces of this session usually are, and by more than a jitter.
const (
	oddTimes = 2.2
	oddBPM   = 7
)

func median(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	if n == 0 {
		return 0
	}
	return (v[(n-1)/2] + v[n/2]) / 2
}

// panels draws the traces of a session, those to decide on first and among
// them, and among the others, the oddest first.
func (p *Page) panels(rows []testRow) []panel {
	sc := scaleOf(rows)
	curves, team := make([]curve, len(rows)), []curve{}
	for i := range rows {
		curves[i] = curveOf(rows[i].seconds, sc)
		if rows[i].outcome.Valid() {
			team = append(team, curves[i])
		}
	}
	mid := middle(team)
	out := make([]panel, len(rows))
	var odds []float64
	for i := range rows {
		out[i] = rows[i].panel(sc, curves[i], mid)
		if out[i].odd > 0 {
			odds = append(odds, out[i].odd)
		}
	}
	usual := median(odds)
	for i := range out {
		if pn := &out[i]; !pn.Marked && pn.odd > oddBPM && pn.odd > oddTimes*usual {
			pn.Marked, pn.Why = true, "shape unlike the others"
		}
	}
	slices.SortStableFunc(out, func(a, b panel) int {
		switch {
		case a.Marked != b.Marked && a.Marked:
			return -1
		case a.Marked != b.Marked:
			return 1
		case a.Marked && a.odd != b.odd:
			return int(math.Copysign(1, b.odd-a.odd))
		}
		return 0
	})
	return out
}

func scaleOf(rows []testRow) scale {
	sc := scale{from: -leadIn, to: 60, low: math.Inf(1), high: math.Inf(-1)}
	for i := range rows {
		sc.to = max(sc.to, int(rows[i].outcome.Duration.Seconds())+afterEnd)
		for _, t := range rows[i].seconds {
			if v, ok := t.Clean.Get(); ok && t.Second >= sc.from {
				sc.low, sc.high = min(sc.low, v), max(sc.high, v)
			}
		}
	}
	if math.IsInf(sc.low, 0) || sc.high-sc.low < 20 {
		sc.low, sc.high = 60, 200
	}
	sc.low, sc.high = math.Floor(sc.low/10)*10, math.Ceil(sc.high/10)*10
	return sc
}

func (t *testRow) panel(sc scale, c, team curve) panel {
	o := &t.outcome
	pn := panel{
		Test: o.TestID, Name: t.Name, Words: t.Trace, Line: c.path(sc), Team: team.path(sc), Ticks: ticks(t.seconds, sc),
		Start: sc.x(0), End: sc.x(o.Duration.Seconds()), Empty: len(t.seconds) == 0,
	}
	if team != nil {
		pn.odd = c.oddness(team)
	}
	if undecided(o) {
		pn.Marked, pn.Why, pn.odd = true, t.Trace, pn.odd+1000
	} else if o.Staff == schemas.Excluded {
		pn.Words = "left out"
	}
	return pn
}

// ticks are strokes along the bottom where readings did not count.
func ticks(seconds []schemas.TraceSecond, sc scale) string {
	var b strings.Builder
	for i := 0; i < len(seconds); i++ {
		if seconds[i].Dropped == "" || seconds[i].Second < sc.from || seconds[i].Second >= sc.to {
			continue
		}
		j := i
		for j+1 < len(seconds) && seconds[j+1].Dropped != "" && seconds[j+1].Second < sc.to {
			j++
		}
		fmt.Fprintf(&b, "M%g %gH%g", sc.x(float64(seconds[i].Second)), float64(panelHeight)-2, sc.x(float64(seconds[j].Second)+1))
		i = j
	}
	return b.String()
}
