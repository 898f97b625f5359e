// Package trial puts simulated sessions through the scorer and reports how
// often it was right: what `canter simulate` prints and what the tests hold
// the scorer to. Start reading at [Run].
package trial

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/scorer/engine"
	"canter.example/scorer/engine/simulate"
)

// Row sums up the simulated sessions of one scenario, or of a group of them.
type Row struct {
	Name     string         `json:"name"`
	Group    simulate.Group `json:"group"`
	Severity int            `json:"severity,omitempty"` // 0 in sums
	Sessions int            `json:"sessions"`
	// Tests there were, found (a start within a minute), and with a start
	// within 5 s.
	Tests   int `json:"tests"`
	Found   int `json:"found"`
	Within5 int `json:"within_5s"`
	// Honest starts are within 5 s, or of a test that says itself that its
	// start is uncertain, or that is not given at all.
	Honest int `json:"honest"`
	Good   int `json:"good"`
	Check  int `json:"check"`
	Reject int `json:"reject"`
	// Absolute errors over all reported numbers of found tests of good quality.
	HRex Errors `json:"hrex"`
	HRR  Errors `json:"hrr"`
	// SilentWrong are good tests whose HRex is off by more than 3 bpm, or that
	// did not take place; SilentHRR good tests whose HRR is off by more than
	// 6 bpm, or is given although the athlete did not rest.
	SilentWrong int `json:"silent_wrong"`
	SilentHRR   int `json:"silent_hrr"`
	// Worst names the sessions behind the silent wrongs and the misses.
	Worst []string `json:"worst,omitempty"`

	order     int
	hrex, hrr []float64
}

// Errors are absolute errors in bpm.
type Errors struct {
	N     int     `json:"n"`
	Mean  float64 `json:"mean"`
	P95   float64 `json:"p95"`
	Worst float64 `json:"worst"`
}

// Bin is one bar of the reliability diagram: starts whose stated confidence
// was in [Low, High), and the share that really was within 5 s.
type Bin struct {
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	Starts int     `json:"starts"`
	Stated float64 `json:"stated"`
	Real   float64 `json:"real"`
}

// Table is the result of a trial.
type Table struct {
	Seed        uint64 `json:"seed"`
	Rows        []Row  `json:"rows"`   // by scenario and severity
	Groups      []Row  `json:"groups"` // clean, artefact, trap, no test
	Reliability []Bin  `json:"reliability"`
}

// Group returns the sum of a group.
func (t *Table) Group(g simulate.Group) *Row {
	for i := range t.Groups {
		if t.Groups[i].Group == g {
			return &t.Groups[i]
		}
	}
	return &Row{}
}

var confidenceEdges = []float64{0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 0.99, 1.0000001}

// Run makes n sessions of the package simulate, spread evenly over scenarios
// and severities (a third of them clean), scores each, and sums up. The same n
// and seed give the same table.
func Run(n int, seed uint64) Table {
	return RunWith(simulate.Scenarios, simulate.Make, n, seed)
}

// Invent makes one session.
type Invent func(sc simulate.Scenario, severity int, seed uint64) *simulate.Session

// RunWith is [Run] with sessions of another generator.
func RunWith(scenarios []simulate.Scenario, invent Invent, n int, seed uint64) Table {
	t := Table{Seed: seed}
	for _, e := range confidenceEdges[:len(confidenceEdges)-1] {
		t.Reliability = append(t.Reliability, Bin{Low: e})
	}
	for i := range t.Reliability {
		t.Reliability[i].High = min(confidenceEdges[i+1], 1)
	}
	for _, g := range []simulate.Group{simulate.Clean, simulate.Artefact, simulate.Trap, simulate.NoTest, simulate.Kinds} {
		t.Groups = append(t.Groups, Row{Name: "all " + string(g), Group: g})
	}
	index := map[[2]int]int{}
	plan := schedule(scenarios)
	for i := range n {
		p := plan[i%len(plan)]
		sc := scenarios[p[0]]
		at, ok := index[p]
		if !ok {
			at = len(t.Rows)
			index[p] = at
			t.Rows = append(t.Rows, Row{Name: sc.Name, Group: sc.Group, Severity: p[1], order: p[0]*10 + p[1]})
		}
		s := invent(sc, p[1], seed+uint64(i))
		r := engine.Score(s.Trace, RequestFor(s))
		t.Rows[at].add(s, r, t.Reliability)
		t.Group(sc.Group).add(s, r, nil)
	}
	sort.SliceStable(t.Rows, func(a, b int) bool { return t.Rows[a].order < t.Rows[b].order })
	for i := range t.Rows {
		t.Rows[i].close()
	}
	for i := range t.Groups {
		t.Groups[i].close()
	}
	for i := range t.Reliability {
		if b := &t.Reliability[i]; b.Starts > 0 {
			b.Stated /= float64(b.Starts)
			b.Real /= float64(b.Starts)
		}
	}
	return t
}

// RequestFor is what the scorer is told of a simulated session.
func RequestFor(s *simulate.Session) engine.Request {
	return engine.Request{Protocol: s.Protocol, HRmax: s.HRmax, Around: s.Around, Within: s.Within}
}

// schedule lists scenario and severity pairs; clean ones come eight times as
// often as any other.
func schedule(scenarios []simulate.Scenario) [][2]int {
	var out [][2]int
	for i, sc := range scenarios {
		times := 1
		if sc.Group == simulate.Clean {
			times = 8
		}
		for range times {
			for v := 1; v <= sc.Severities; v++ {
				out = append(out, [2]int{i, v})
			}
		}
	}
	return out
}

func (r *Row) add(s *simulate.Session, res engine.Result, bins []Bin) {
	r.Sessions++
	r.Tests += len(s.Truth.Starts)
	matched := make([]bool, len(res.Tests))
	for k, start := range s.Truth.Starts {
		best, off := -1, time.Minute
		for i := range res.Tests {
			if d := res.Tests[i].Outcome.Start.Sub(start).Abs(); d < off && !matched[i] {
				best, off = i, d
			}
		}
		if best < 0 {
			r.note(s, "not found")
			if len(res.Tests) == 0 {
				r.Honest++
			}
			continue
		}
		matched[best] = true
		r.Found++
		o := &res.Tests[best].Outcome
		if off <= 5*time.Second {
			r.Within5++
			r.Honest++
		} else {
			if saysUncertain(o) {
				r.Honest++
			}
			r.note(s, "start off by "+o.Start.Sub(start).String())
		}
		r.number(s, o, k)
	}
	for i := range res.Tests {
		o := &res.Tests[i].Outcome
		switch o.Quality {
		case schemas.Good:
			r.Good++
			if !matched[i] {
				r.SilentWrong++
				r.note(s, "SILENT: good, but no such test")
			}
		case schemas.Check:
			r.Check++
		case schemas.Reject:
			r.Reject++
		}
		for b := range bins {
			if c := o.StartConfidence; c >= confidenceEdges[b] && c < confidenceEdges[b+1] {
				bins[b].Starts++
				bins[b].Stated += c
				for _, start := range s.Truth.Starts {
					if o.Start.Sub(start).Abs() <= 5*time.Second {
						bins[b].Real++
					}
				}
			}
		}
	}
}

func (r *Row) number(s *simulate.Session, o *schemas.Outcome, k int) {
	if o.Quality != schemas.Good {
		return
	}
	if v, ok := o.HRexBPM.Get(); ok {
		e := math.Abs(v - s.Truth.HRex[k])
		r.hrex = append(r.hrex, e)
		if e > 3 {
			r.SilentWrong++
			r.note(s, fmt.Sprintf("SILENT: good, HRex %.1f, truly %.1f", v, s.Truth.HRex[k]))
		}
	}
	if v, ok := o.HRR(60); ok {
		bpm, _ := v.BPM.Get()
		e := math.Abs(bpm - s.Truth.HRR[k])
		if s.Truth.Recovered {
			r.hrr = append(r.hrr, e)
		}
		if e > 6 || !s.Truth.Recovered {
			r.SilentHRR++
			r.note(s, fmt.Sprintf("SILENT: good, HRR %.0f, truly %.0f", bpm, s.Truth.HRR[k]))
		}
	}
}

// saysUncertain reports whether a test itself says that its start, its end or
// its being the test is uncertain.
func saysUncertain(o *schemas.Outcome) bool {
	if o.Quality == schemas.Good {
		return false
	}
	for _, r := range o.Reasons {
		switch r.Code {
		case schemas.ReasonStartUncertain, schemas.ReasonSecondTest, schemas.ReasonCutShort:
			return true
		default:
		}
	}
	return false
}

func (r *Row) note(s *simulate.Session, what string) {
	if len(r.Worst) < 40 || strings.HasPrefix(what, "SILENT") {
		r.Worst = append(r.Worst, s.Truth.String()+": "+what)
	}
}

func (r *Row) close() {
	r.HRex, r.HRR = errorsOf(r.hrex), errorsOf(r.hrr)
}

func errorsOf(e []float64) Errors {
	if len(e) == 0 {
		return Errors{}
	}
	sort.Float64s(e)
	sum := 0.0
	for _, v := range e {
		sum += v
	}
	return Errors{N: len(e), Mean: sum / float64(len(e)), P95: e[(len(e)-1)*95/100], Worst: e[len(e)-1]}
}
