package engine

import (
	"fmt"
	"math"
	"slices"
	"time"

	"canter.example/schemas"
)

// Request is everything besides the trace that the outcome depends on.
type Request struct {
	// Protocol of the test to look for. Unset windows get their defaults: HRex
	// over the last 60 s, HRR windows of 5 s (FACTS 1.8), coverage of 0.8.
	Protocol *schemas.Protocol
	HRmax    schemas.HRmax
	// Start given by hand; zero when not given.
	Start time.Time
	// Around is the planned time, zero for none; Within is how far from it the
	// true start may be.
	Around time.Time
	Within time.Duration
	// Session is what team-mates' traces say; nil when nothing.
	Session *Hint
	// Explain asks for an Explanation.
	Explain bool
}

// Found is one test.
type Found struct {
	// Outcome with all fields but those that name file, athlete, squad and
	// session, which the caller knows.
	Outcome schemas.Outcome
	// Window is the trace around the test second by second: 120 s before it,
	// the test, and up to 5 min after, or as long as its recovery takes.
	Window []schemas.TraceSecond
}

// Result is what became of one trace.
type Result struct {
	// Tests in time order.
	Tests []Found
	// None says why there is no test, nil when there is one.
	None *schemas.Reason
	// Explanation when it was asked for.
	Explanation *Explanation
}

// Score finds and measures the tests of the request's protocol in a trace. It
// is a pure function of its arguments: no clock, no I/O, and it never panics;
// a trace it can't make sense of gives a Result with None.
func Score(tr *schemas.Trace, req Request) Result {
	r := Open(tr)
	defer r.Close()
	return r.Score(req)
}

// Score does for a recording what [Score] does for a trace.
func (r *Recording) Score(req Request) (res Result) {
	defer func() {
		if p := recover(); p != nil {
			res = none("the trace could not be scored: %v; please report this file", p)
			if req.Explain {
				res.Explanation = &Explanation{None: res.None}
			}
		}
	}()
	p, err := withDefaults(req.Protocol)
	if r.Trace == nil {
		err = fmt.Errorf("there is no trace to score")
	}
	if err != nil {
		res = none("%v", err)
		if req.Explain {
			res.Explanation = &Explanation{None: res.None}
		}
		return res
	}
	req.Protocol = p
	var e *Explanation
	if req.Explain {
		e = &Explanation{Protocol: p.ID, Kind: p.Kind()}
	}
	r.clean(req.HRmax)
	e.cleaned(&r.series, r.Trace.Start)
	res = r.score(r.Trace, &req, e)
	res.Explanation = e
	if e != nil {
		e.None = res.None
	}
	return res
}

func (w *work) score(tr *schemas.Trace, req *Request, e *Explanation) Result {
	s, f := &w.series, &w.finder
	h, ok := w.ready(tr, req)
	if !ok {
		return none("the trace has no usable heart rate (%d valid readings of %d samples)", s.valid(), len(tr.Samples))
	}
	var res Result
	if !req.Start.IsZero() {
		c := f.given(req.Start.Sub(tr.Start).Seconds(), &h)
		e.candidates(f, []candidate{c}, tr.Start)
		at := f.grid.time(c.start)
		if at < s.at[0]-h.length || at > s.at[len(s.at)-1] {
			return none("the start given by hand, %s, is outside the trace (%s to %s)", clock(req.Start),
				clock(tr.Start.Add(seconds(s.at[0]))), clock(tr.Start.Add(seconds(s.at[len(s.at)-1]))))
		}
		t, _ := w.test(tr, req, &c, 0, 1, &h, e)
		e.test(&t.Outcome)
		res.Tests = append(res.Tests, t)
		return res
	}
	f.noShort = false
	all := f.find(&h)
	e.candidates(f, all, tr.Start)
	for range mostCandidates {
		chosen, reason := f.choose(all, &h)
		if reason != nil {
			if res.None == nil {
				res.None = reason
			}
			return res
		}
		for i := range chosen {
			t, doubtful := w.test(tr, req, &chosen[i], i, len(chosen), &h, e)
			if doubtful == nil {
				e.test(&t.Outcome)
				res.Tests = append(res.Tests, t)
			} else if res.None == nil {
				res.None = doubtful
			}
		}
		if len(res.Tests) > 0 {
			res.None = nil
			break
		}
		// What looked likeliest is hardly a test: is there one elsewhere?
		all = without(all, chosen)
		f.noShort = f.noShort || chosen[0].length < f.profile.length
	}
	slices.SortFunc(res.Tests, func(a, b Found) int { return a.Outcome.Start.Compare(b.Outcome.Start) })
	return res
}

// ready lays out what a search needs; false when there is no heart rate.
func (w *work) ready(tr *schemas.Trace, req *Request) (hints, bool) {
	s, f := &w.series, &w.finder
	if s.valid() < 10 {
		return hints{}, false
	}
	f.prepare(s, req.Protocol)
	f.steady = max(4, 0.6*s.wiggle*s.wiggle) * f.room() * f.room()
	f.lowest = lowestLevel(req)
	f.band = req.Protocol.BandLow * req.HRmax.BPM.Or(0)
	h := newHints(tr, s, req)
	if h.keeps() {
		f.grid.fillSpeed(s)
	}
	return h, true
}

// without returns the candidates that do not overlap with the chosen ones.
func without(all, chosen []candidate) []candidate {
	return slices.DeleteFunc(all, func(c candidate) bool {
		return slices.ContainsFunc(chosen, func(d candidate) bool { return abs(c.start-d.start) < c.length })
	})
}

// test measures and judges one chosen candidate. The reason is not nil when
// there are so many doubts that it had better not be called a test.
func (w *work) test(tr *schemas.Trace, req *Request, c *candidate, rank, of int, h *hints, e *Explanation) (Found, *schemas.Reason) {
	m := measure(&w.series, w.finder.grid.time(c.start), c, req)
	if !req.Start.IsZero() {
		m.at = req.Start.Sub(tr.Start).Seconds()
	}
	out := schemas.Outcome{
		Protocol: req.Protocol.ID, ProtocolVersion: req.Protocol.Version,
		Start: tr.Start.Add(seconds(m.at)), StartSource: c.source, StartConfidence: c.confidence(),
		Duration: seconds(float64(c.length)), HRmax: req.HRmax, ScorerVersion: schemas.ScorerVersion,
	}
	if out.ProtocolVersion == "" {
		out.ProtocolVersion = req.Protocol.Digest()
	}
	m.fill(&out, req)
	w.judge(&out, &m, c, rank, of, h, req)
	e.windows(&m)
	if c.alone() && doubts(&out) >= mostDoubts {
		return Found{}, &schemas.Reason{Code: schemas.ReasonNoTest, Text: fmt.Sprintf("the likeliest stretch, from %s into the trace, is hardly a test: %s",
			mmss(int(w.finder.grid.time(c.start))), out.Reasons[0].Text)}
	}
	return Found{Outcome: out, Window: w.series.view(m.at, c.length, req.Protocol)}, nil
}

// lowestLevel is the level in bpm below which a run is hardly the protocol's:
// 15 points of %HRmax under its band, never under 100 bpm.
func lowestLevel(req *Request) float64 {
	top, ok := req.HRmax.BPM.Get()
	if !ok || req.Protocol.BandLow <= 0 {
		return 100
	}
	return max(100, (req.Protocol.BandLow-0.15)*top-req.HRmax.SEE.Or(0))
}

// prepare lays out the grid and the responses for a protocol. Those of the
// protocol before are kept when the load is the same.
func (f *finder) prepare(s *series, p *schemas.Protocol) {
	f.load = f.load.read(p)
	d := f.load.length
	f.series = s
	f.wiggle, f.interval = s.wiggle, s.interval
	f.grid.fill(s, d)
	if f.profile.equal(&f.load) {
		return
	}
	f.profile, f.load = f.load, f.profile
	for i := range f.close {
		f.close[i].ahead = 0
	}
	f.whole = wholePlans{}
	for i, tau := range coarseTau {
		f.coarse4[i].make(tau, d+2*lead, &f.profile)
	}
	for i, tau := range fineOn {
		f.fineOn[i].make(tau, d+2*lead, &f.profile)
	}
	for i, tau := range fineOff {
		f.fineOff[i].make(tau, 2*lead, nil)
	}
}

// withDefaults checks a protocol and fills in what it leaves open.
func withDefaults(in *schemas.Protocol) (*schemas.Protocol, error) {
	if in == nil {
		return nil, fmt.Errorf("no protocol was given to look for")
	}
	d := in.Duration()
	for _, s := range in.Stages {
		if s.Duration < 0 {
			d = 0
		}
	}
	if d < time.Minute || d > 2*time.Hour {
		return nil, fmt.Errorf("the protocol %q lasts %s; tests of 1 min to 2 h can be scored", in.ID, d)
	}
	p := *in
	set := func(v *time.Duration, def, most time.Duration) {
		if *v <= 0 {
			*v = def
		}
		*v = min(*v, most)
	}
	set(&p.HRexWindow, time.Minute, d)
	set(&p.EndWindow, 5*time.Second, d)
	set(&p.RecoveryWindow, 5*time.Second, time.Minute)
	if p.HRex == "" {
		p.HRex = schemas.FinalMean
	}
	if p.MinCoverage <= 0 || p.MinCoverage > 1 {
		p.MinCoverage = 0.8
	}
	p.Recovery = slices.DeleteFunc(slices.Clone(in.Recovery), func(r time.Duration) bool {
		return r <= 0 || r > time.Hour
	})
	slices.Sort(p.Recovery)
	return &p, nil
}

func none(format string, args ...any) Result {
	return Result{None: &schemas.Reason{Code: schemas.ReasonNoTest, Text: fmt.Sprintf(format, args...)}}
}

func seconds(t float64) time.Duration { return time.Duration(math.Round(t * 1e9)) }

func clock(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05") + " UTC" }
