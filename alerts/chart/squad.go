package chart

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"canter.example/schemas"
)

// SquadTest is one athlete's test in one measure.
type SquadTest struct {
	Who     Person
	Outcome schemas.Outcome
	// Comparison of the measure; nil when the test was not assessed.
	Comparison *schemas.Comparison
}

// SquadData is a squad on one day in one measure.
type SquadData struct {
	// Title names the session, such as "First squad, Tue 3 Nov 2026".
	Title   string
	Measure schemas.Measure
	Seconds int
	Tests   []SquadTest
	// Shift is what the whole squad shares that day, in the measure's unit; absent
	// when it could not be estimated. With it goes its interval where that is known,
	// its standard error where not.
	Shift, ShiftLow, ShiftHigh, ShiftSE schemas.Number
	Size                                Size
}

// Squad draws each athlete's change from their own baseline, largest first,
// with typical error and smallest worthwhile change as bands around no change,
// the reach of the prediction interval as brackets, and the values in numbers.
// Whoever has no such change is named below with the reason.
func Squad(d SquadData) *Picture {
	p := newPicture(d.Size)
	s := newSquad(&d)
	p.Title = strings.Join(nonEmpty(s.name+" on one day", drawable(d.Title)), ": ")
	p.titled(p.ink.title, s.name+": change from each athlete's own baseline")
	p.titled(p.ink.text, d.Title)
	p.above(p.ink.small, "Change in "+s.unit+", and z")
	p.below(p.ink.small, s.key())
	if len(s.without) > 0 {
		p.below(p.ink.small, "No change to show: "+strings.Join(s.without, "; ")+".")
	}
	p.Alt = s.alt(p.Title)
	p.body = p.ink.size * (1.75*vg.Length(max(len(s.rows), 1)) + 2.2)
	p.paint = func(c draw.Canvas) { s.paint(c, p.ink) }
	return p
}

// squad is what Squad draws.
type squad struct {
	name, unit string
	decimals   int
	rows       []squadRow
	without    []string
	shift      *float64
	sure       string // how sure the shift is, in brackets
}

type squadRow struct {
	who                  string
	change, z            float64 // z NaN when absent
	te, swc              float64
	low, high            float64 // prediction interval less the mean; NaN when absent
	beyond               bool    // the thresholds
	accepted, unreliable bool
}

func newSquad(d *SquadData) *squad {
	s := &squad{name: d.Measure.Name(d.Seconds), unit: "bpm"}
	for i := range d.Tests {
		t := &d.Tests[i]
		row, why := squadRowOf(t)
		if why != "" {
			s.without = append(s.without, t.Who.label()+" ("+why+")")
			continue
		}
		if t.Comparison.Unit != "bpm" {
			s.unit, s.decimals = "points of %HRmax", 1
		}
		s.rows = append(s.rows, row)
	}
	slices.SortStableFunc(s.rows, func(a, b squadRow) int {
		return cmp.Or(cmp.Compare(b.change, a.change), strings.Compare(a.who, b.who))
	})
	if v, ok := d.Shift.Get(); ok {
		s.shift = &v
		low, ok := d.ShiftLow.Get()
		high, too := d.ShiftHigh.Get()
		if se, known := d.ShiftSE.Get(); ok && too {
			s.sure = fmt.Sprintf(" (%s to %s)", signed(low, 1), signed(high, 1))
		} else if known {
			s.sure = fmt.Sprintf(" (standard error %.1f)", se)
		}
	}
	return s
}

// squadRowOf returns a row, or why there is none.
func squadRowOf(t *SquadTest) (row squadRow, without string) {
	c, o := t.Comparison, &t.Outcome
	switch {
	case o.Staff == schemas.Excluded || o.Quality == schemas.Reject:
		return row, QualityWords(o)
	case c == nil:
		return row, "not compared"
	case !c.Value.Present():
		return row, "no number"
	case c.State == schemas.Building || !c.Change.Present():
		return row, fmt.Sprintf("building baseline, %d of %d", c.N, c.MinN)
	}
	return squadRow{
		who: t.Who.label(), change: c.Change.Or(0), z: c.Z.Or(math.NaN()), te: c.TE.Or(0), swc: c.SWC.Or(0),
		low: c.PredLow.Minus(c.Mean).Or(math.NaN()), high: c.PredHigh.Minus(c.Mean).Or(math.NaN()),
		beyond: c.State == schemas.Higher || c.State == schemas.Lower, unreliable: !o.Valid(),
		accepted: o.Quality == schemas.Check && o.Staff == schemas.Accepted,
	}, ""
}

// change and z in numbers; z is "" when there is none.
func (r *squadRow) numbers(decimals int) (change, z string) {
	if !math.IsNaN(r.z) {
		z = "z " + signed(r.z, 1)
	}
	return signed(r.change, decimals), z
}

func (s *squad) key() string {
	text := "Dark band: smallest worthwhile change. Light band: typical error. Brackets: where an unchanged athlete's test falls, 95 times in 100. " +
		"Diamond and bold: beyond the club's thresholds."
	if slices.ContainsFunc(s.rows, func(r squadRow) bool { return r.unreliable }) {
		text += " Open mark: doubtful trace, not counted."
	}
	if s.shift != nil {
		text += fmt.Sprintf(" Dashed line: the whole squad's shift that day, %s%s.", signed(*s.shift, 1), s.sure)
	}
	return text
}

func (s *squad) alt(title string) string {
	var parts []string
	for i := range s.rows {
		text := s.rows[i].who + " " + signed(s.rows[i].change, s.decimals)
		if s.rows[i].beyond {
			text += " (beyond the thresholds)"
		}
		parts = append(parts, text)
	}
	text := title + ". "
	if len(parts) > 0 {
		text += "Change from own baseline in " + s.unit + ": " + strings.Join(parts, ", ") + "."
	}
	if len(s.without) > 0 {
		text += " No change to show: " + strings.Join(s.without, "; ") + "."
	}
	return strings.TrimSpace(text)
}

func (s *squad) scale() (low, high float64) {
	var all span
	all.add(0)
	for i := range s.rows {
		r := &s.rows[i]
		all.add(r.change, r.te, -r.te, r.swc, -r.swc, r.low, r.high)
	}
	if s.shift != nil {
		all.add(*s.shift)
	}
	return all.widened(0.03, 4, 0.5)
}

func (s *squad) paint(c draw.Canvas, k ink) {
	if len(s.rows) == 0 {
		put(c, k.text, draw.XCenter, c.Center().X, c.Center().Y, "no change from a baseline to show")
		return
	}
	var names, changes, zs vg.Length
	for i := range s.rows {
		names = max(names, k.bold.Width(s.rows[i].who))
		change, z := s.rows[i].numbers(s.decimals)
		changes, zs = max(changes, k.bold.Width(change)), max(zs, k.bold.Width(z))
	}
	names = min(names, (c.Max.X-c.Min.X)*0.34)
	widest := (c.Max.X - c.Min.X) * 0.2
	changes, zs = min(changes, widest), min(zs, widest)
	low, high := s.scale()
	row := k.size * 1.75
	m := mapping{vg.Rectangle{
		Min: vg.Point{X: c.Min.X + names + k.size*0.6, Y: c.Max.Y - k.size*0.3 - row*vg.Length(len(s.rows))},
		Max: vg.Point{X: c.Max.X - changes - zs - k.size*1.2, Y: c.Max.Y - k.size*0.3},
	}, low, high, 0, float64(len(s.rows))}
	for i := range s.rows {
		y := m.Max.Y - row*(vg.Length(i)+0.5)
		s.row(c, k, m, &s.rows[i], y, row, names)
		s.numbers(c, k, &s.rows[i], y, changes, zs)
	}
	s.lines(c, k, m)
}

// lines are no change, the squad's shift and the scale.
func (s *squad) lines(c draw.Canvas, k ink, m mapping) {
	c.StrokeLine2(k.stroke(black, 6), m.x(0), m.Min.Y, m.x(0), m.Max.Y)
	if s.shift != nil {
		c.StrokeLine2(k.stroke(black, 6, 30, 20), m.x(*s.shift), m.Min.Y, m.x(*s.shift), m.Max.Y)
	}
	c.StrokeLine2(k.stroke(black, 6), m.Min.X, m.Min.Y, m.Max.X, m.Min.Y)
	values := steps(m.x0, m.x1, 8)
	for i, t := range numbered(values, "") {
		x := m.x(t.Value)
		c.StrokeLine2(k.stroke(black, 6), x, m.Min.Y-k.size*0.25, x, m.Min.Y)
		label := t.Label
		if v := values[i]; v > 0 {
			label = "+" + label
		}
		put(c, k.text, draw.XCenter, x, m.Min.Y-k.size*1.25, strings.Replace(label, "-", "−", 1))
	}
}

func (s *squad) row(c draw.Canvas, k ink, m mapping, r *squadRow, y, tall, names vg.Length) {
	bands := []struct {
		half  float64
		shade color.Color
	}{{r.te, pale}, {r.swc, light}}
	if r.swc > r.te { // the narrower one on top
		slices.Reverse(bands)
	}
	for _, b := range bands {
		fill(c, vg.Rectangle{Min: vg.Point{X: m.x(-b.half), Y: y - tall/2}, Max: vg.Point{X: m.x(b.half), Y: y + tall/2}}, b.shade)
	}
	style := r.style(k)
	put(c, style, draw.XLeft, c.Min.X, y-k.size*0.35, fit(r.who, style, names))
	if !math.IsNaN(r.low) && !math.IsNaN(r.high) {
		thin := k.stroke(dark, 5)
		c.StrokeLine2(thin, m.x(r.low), y, m.x(r.high), y)
		for _, e := range []struct {
			x   vg.Length
			way vg.Length
		}{{m.x(r.low), 1}, {m.x(r.high), -1}} {
			c.StrokeLine2(thin, e.x, y-tall*0.25, e.x, y+tall*0.25)
			for _, dy := range []vg.Length{-0.25, 0.25} {
				c.StrokeLine2(thin, e.x, y+tall*dy, e.x+e.way*k.size*0.2, y+tall*dy)
			}
		}
	}
	at := vg.Point{X: m.x(r.change), Y: y}
	c.StrokeLine2(k.stroke(black, 14), m.x(0), y, at.X, y)
	switch {
	case r.beyond:
		diamond(c, at, k.size*0.62, white)
		diamond(c, at, k.size*0.5, black)
		if r.unreliable {
			diamond(c, at, k.size*0.3, white)
		}
	case r.unreliable:
		glyph(c, k, at, doubtful, k.size*0.28)
	case r.accepted:
		glyph(c, k, at, acceptedByStaff, k.size*0.3)
	default:
		glyph(c, k, at, counted, k.size*0.3)
	}
}

func (r *squadRow) style(k ink) draw.TextStyle {
	if r.beyond {
		return k.bold
	}
	return k.text
}

// numbers writes the values in two columns at the right.
func (s *squad) numbers(c draw.Canvas, k ink, r *squadRow, y, changes, zs vg.Length) {
	style := r.style(k)
	change, z := r.numbers(s.decimals)
	put(c, style, draw.XRight, c.Max.X, y-k.size*0.35, fit(z, style, zs))
	put(c, style, draw.XRight, c.Max.X-zs-k.size*0.6, y-k.size*0.35, fit(change, style, changes))
}
