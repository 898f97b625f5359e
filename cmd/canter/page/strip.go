package page

import (
	"fmt"
	"math"

	"canter.example/alerts/assess"
	"canter.example/cmd/canter/report"
	"canter.example/schemas"
)

// strip shows each athlete's change from baseline, session by session: a dot
// an athlete, a bar where the squad as a whole stood.
type strip struct {
	Title, Unit string
	Dots        []dot
	Bars        []bar
	Lines       []gridLine
	Labels      []label
	Width       float64
	Says        string
}

type dot struct {
	X, Y   float64
	Beyond bool
	Title  string
	Test   schemas.TestID
}

type bar struct{ X1, X2, Y float64 }

type gridLine struct {
	Y    float64
	Text string
	Zero bool
}

type label struct {
	X    float64
	Text string
}

// Measures of a strip in units of its drawing.
const (
	stripHeight = 200
	stripStep   = 54
	stripLeft   = 44
	stripMost   = 26 // sessions
)

func (p *Page) strip(order []string, sessions map[string][]testRow, m schemas.Measure, seconds int) strip {
	order = order[max(0, len(order)-stripMost):]
	s := strip{Title: m.Name(seconds), Unit: "bpm", Width: stripLeft + stripStep*float64(max(len(order), 1)) + 10}
	reach := 4.0
	for _, id := range order {
		for i := range sessions[id] {
			if c := comparison(sessions[id][i].assessment, m, seconds); c != nil {
				reach = max(reach, math.Abs(c.Change.Or(0)))
				if c.Unit == assess.Points {
					s.Unit = "points of %HRmax"
				}
			}
		}
	}
	reach = math.Min(math.Ceil(reach/2)*2, 40)
	y := func(v float64) float64 {
		return round1(stripHeight/2 - math.Max(-reach, math.Min(reach, v))/reach*(stripHeight/2-8))
	}
	for _, v := range []float64{reach, reach / 2, 0, -reach / 2, -reach} {
		s.Lines = append(s.Lines, gridLine{y(v), report.Signed(schemas.Num(v), 0), v == 0})
	}
	every := 1 + len(order)/14
	for k, id := range order {
		x := stripLeft + stripStep*(float64(k)+0.5)
		rows := sessions[id]
		if (len(order)-1-k)%every == 0 {
			s.Labels = append(s.Labels, label{x, p.localTime(rows[0].outcome.Start, "2 Jan")})
		}
		for i := range rows {
			c := comparison(rows[i].assessment, m, seconds)
			if c == nil || !c.Change.Present() || !rows[i].outcome.Valid() {
				continue
			}
			beside := (float64(i)+0.5)/float64(len(rows)) - 0.5
			s.Dots = append(s.Dots, dot{
				X: round1(x + beside*stripStep*0.7), Y: y(c.Change.Or(0)), Beyond: c.State == schemas.Higher || c.State == schemas.Lower, Test: rows[i].Test,
				Title: fmt.Sprintf("%s, %s: %s", rows[i].Name, p.localTime(rows[i].outcome.Start, "2 Jan"), report.Signed(c.Change, 1)),
			})
		}
		for i := range rows {
			if c := comparison(rows[i].assessment, m, seconds); c != nil && c.Squad.Size.Present() {
				s.Bars = append(s.Bars, bar{x - stripStep*0.4, x + stripStep*0.4, y(c.Squad.Size.Or(0))})
				break
			}
		}
	}
	s.Says = fmt.Sprintf("%s: change from each athlete's own baseline in %s at the last %s. The table below has the numbers.", s.Title, s.Unit, schemas.Count(len(order), "session"))
	return s
}
