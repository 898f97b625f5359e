package chart

import (
	"math"
	"strconv"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// absurd is what no number of a test can be: it would flatten all others.
const absurd = 1e5

// span collects the range of what is drawn; what is not a number, or absurd,
// is passed over.
type span struct {
	low, high float64
	some      bool
}

func (s *span) add(vs ...float64) {
	for _, v := range vs {
		switch {
		case math.IsNaN(v) || math.Abs(v) > absurd:
		case !s.some:
			s.low, s.high, s.some = v, v, true
		default:
			s.low, s.high = min(s.low, v), max(s.high, v)
		}
	}
}

// widened returns the range with a margin of a share of it on each side, at
// least least wide, and whole multiples of step at both ends.
func (s *span) widened(share, least, step float64) (low, high float64) {
	low, high = s.low, s.high
	margin := max(share*(high-low), (least-(high-low))/2)
	return step * math.Floor((low-margin)/step), step * math.Ceil((high+margin)/step)
}

// steps returns round numbers from low to high, about n of them.
func steps(low, high float64, n int) []float64 {
	width := high - low
	if !(width > 0) || math.IsInf(width, 0) || n < 1 {
		return nil
	}
	unit := math.Pow(10, math.Floor(math.Log10(width/float64(n))))
	step := 10 * unit
	for _, m := range []float64{1, 2, 5} {
		if width/(m*unit) <= float64(n) {
			step = m * unit
			break
		}
	}
	var out []float64
	for k := math.Ceil(low/step - 1e-9); k*step <= high+1e-9*width && len(out) < 50; k++ {
		out = append(out, k*step)
	}
	return out
}

// numbered labels steps with as many decimals as they need.
func numbered(values []float64, unit string) []plot.Tick {
	decimals := 0
	for decimals < 3 && len(values) > 1 && math.Abs(values[1]-values[0])*math.Pow10(decimals) < 0.999 {
		decimals++
	}
	ticks := make([]plot.Tick, len(values))
	for i, v := range values {
		ticks[i] = plot.Tick{Value: v, Label: strconv.FormatFloat(v+0, 'f', decimals, 64) + unit}
	}
	return ticks
}

// minuteTicks marks whole minutes, or as many of them apart as fit.
func minuteTicks(low, high float64, n int) []plot.Tick {
	step := 60.0
	for _, m := range []float64{1, 2, 5, 10, 20, 30, 60, 120, 300} {
		if step = 60 * m; (high-low)/step <= float64(n) {
			break
		}
	}
	var ticks []plot.Tick
	for k := math.Ceil(low / step); k*step <= high && len(ticks) < 50; k++ {
		ticks = append(ticks, plot.Tick{Value: k * step, Label: strconv.Itoa(int(k * step / 60))})
	}
	return ticks
}

// dayTicks marks days, weeks, months or years between two instants, at most n.
func dayTicks(low, high time.Time, n int) []plot.Tick {
	days := high.Sub(low).Hours() / 24
	for _, step := range []int{1, 2, 7, 14} {
		if days/float64(step) <= float64(n) {
			return datesApart(low, high, step)
		}
	}
	for _, months := range []int{1, 2, 3, 6, 12, 24, 60, 120} {
		if days/30.4/float64(months) <= float64(n) {
			return monthsApart(low, high, months)
		}
	}
	return nil
}

func datesApart(low, high time.Time, step int) []plot.Tick {
	var ticks []plot.Tick
	d := time.Date(low.Year(), low.Month(), low.Day(), 0, 0, 0, 0, low.Location())
	if step >= 7 { // Mondays
		for d.Weekday() != time.Monday {
			d = d.AddDate(0, 0, 1)
		}
	}
	for ; !d.After(high) && len(ticks) < 50; d = d.AddDate(0, 0, step) {
		if !d.Before(low) {
			ticks = append(ticks, plot.Tick{Value: float64(d.Unix()), Label: d.Format("2 Jan")})
		}
	}
	return ticks
}

func monthsApart(low, high time.Time, step int) []plot.Tick {
	var ticks []plot.Tick
	for d := time.Date(low.Year(), 1, 1, 0, 0, 0, 0, low.Location()); !d.After(high) && len(ticks) < 50; d = d.AddDate(0, step, 0) {
		if d.Before(low) {
			continue
		}
		label := d.Format("Jan")
		if step >= 12 {
			label = d.Format("2006")
		} else if d.Month() == time.January || len(ticks) == 0 {
			label = d.Format("Jan 06")
		}
		ticks = append(ticks, plot.Tick{Value: float64(d.Unix()), Label: label})
	}
	return ticks
}

// mapping places values in a rectangle.
type mapping struct {
	vg.Rectangle
	x0, x1, y0, y1 float64
}

// at returns where a value lies; values outside are moved to the edge.
func (m mapping) at(x, y float64) vg.Point { return vg.Point{X: m.x(x), Y: m.y(y)} }

func (m mapping) x(v float64) vg.Length { return place(v, m.x0, m.x1, m.Min.X, m.Max.X) }
func (m mapping) y(v float64) vg.Length { return place(v, m.y0, m.y1, m.Min.Y, m.Max.Y) }

func place(v, v0, v1 float64, l0, l1 vg.Length) vg.Length {
	if !(v1 > v0) || math.IsNaN(v) {
		return l0
	}
	share := min(max((v-v0)/(v1-v0), 0), 1)
	return l0 + vg.Length(share)*(l1-l0)
}

// painter is a part of a plot that needs no range of its own.
type painter func(c draw.Canvas, m mapping)

// Plot implements plot.Plotter.
func (f painter) Plot(c draw.Canvas, p *plot.Plot) {
	f(c, mapping{c.Rectangle, p.X.Min, p.X.Max, p.Y.Min, p.Y.Max})
}

// axes returns an empty plot in the picture's ink, with ranges set.
func (k ink) axes(x0, x1, y0, y1 float64, xTicks, yTicks []plot.Tick) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = x0, x1, y0, y1
	p.X.Tick.Marker, p.Y.Tick.Marker = plot.ConstantTicks(xTicks), plot.ConstantTicks(yTicks)
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Padding = 0
		a.LineStyle, a.Tick.LineStyle = k.stroke(black, 6), k.stroke(black, 6)
		a.Tick.Length = k.size * 0.25
		a.Tick.Label.Font, a.Label.TextStyle.Font = k.text.Font, k.text.Font
	}
	return p
}
