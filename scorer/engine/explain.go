package engine

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"canter.example/schemas"
)

// Explanation says how a result came about: what cleaning dropped, where a
// test might have started, and every window that was averaged.
type Explanation struct {
	Protocol string `json:"protocol"`
	Kind     string `json:"kind"`
	// Samples recorded, and valid after cleaning.
	Samples int `json:"samples"`
	Valid   int `json:"valid"`
	// Interval between samples and how long one stands for at most, seconds.
	Interval float64 `json:"interval_s"`
	Hold     float64 `json:"hold_s"`
	// FromRR is true when heart rate was derived from beat intervals.
	FromRR     bool              `json:"from_rr,omitempty"`
	Dropped    []DroppedRun      `json:"dropped"`
	Steps      []Jump            `json:"steps"`
	Candidates []Candidate       `json:"candidates"`
	Tests      []TestExplanation `json:"tests"`
	None       *schemas.Reason   `json:"none,omitempty"`

	averaged []WindowUsed // of the test being measured
	delay    float64
}

// DroppedRun is an unbroken run of readings dropped for one reason.
type DroppedRun struct {
	From    time.Time `json:"from"`
	Seconds float64   `json:"seconds"`
	Samples int       `json:"samples"`
	Reason  string    `json:"reason"`
	// Low and High are the dropped readings' range in bpm.
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Jump is a sudden change that stayed.
type Jump struct {
	At   time.Time `json:"at"`
	Size float64   `json:"bpm"`
}

// Candidate is one place where the test may start, with the evidence for it in
// units of log likelihood.
type Candidate struct {
	Start    time.Time `json:"start"`
	Score    float64   `json:"score"`
	Rise     float64   `json:"rise_evidence"`
	Recovery float64   `json:"recovery_evidence"`
	Misfit   float64   `json:"misfit_cost"`
	Speed    float64   `json:"speed_evidence"`
	Hints    float64   `json:"hint_evidence"`
	Level    float64   `json:"level_cost"`
	// Light is the cost of a level below the protocol's band.
	Light      float64 `json:"light_cost,omitempty"`
	Tau        float64 `json:"tau_s"`
	RiseBPM    float64 `json:"rise_bpm"`
	FallBPM    float64 `json:"fall_bpm"`
	SD         float64 `json:"start_sd_s"`
	Confidence float64 `json:"confidence"`
	GoesOn     bool    `json:"goes_on,omitempty"`
}

// TestExplanation holds the windows of one test.
type TestExplanation struct {
	Start   time.Time    `json:"start"`
	Windows []WindowUsed `json:"windows"`
	// Delay (s) is how late the device shows heart rate because it averages; the
	// recovery windows are read so much later.
	Delay   float64          `json:"device_delay_s"`
	Quality schemas.Quality  `json:"quality"`
	Reasons []schemas.Reason `json:"reasons"`
}

// WindowUsed is one averaged window.
type WindowUsed struct {
	Name     string  `json:"name"`
	From     float64 `json:"from_s"` // since the start of the test
	To       float64 `json:"to_s"`
	Mean     float64 `json:"mean_bpm"`
	Valid    float64 `json:"valid_s"`
	Coverage float64 `json:"coverage"`
}

func (e *Explanation) cleaned(s *series, start time.Time) {
	if e == nil {
		return
	}
	e.Samples, e.Interval, e.Hold, e.FromRR = len(s.at), s.interval, s.limit, s.fromRR
	e.Dropped, e.Steps = []DroppedRun{}, []Jump{}
	e.Candidates, e.Tests = []Candidate{}, []TestExplanation{}
	for i := 0; i < len(s.at); {
		j := i + 1
		for j < len(s.at) && s.why[j] == s.why[i] {
			j++
		}
		if s.why[i] == kept {
			e.Valid += j - i
		} else {
			r := DroppedRun{From: start.Add(seconds(s.at[i])), Samples: j - i, Reason: dropWords[s.why[i]],
				Low: clampBPM(s.hr[i]), High: clampBPM(s.hr[i])}
			for k := i; k < j; k++ {
				r.Seconds += s.hold[k]
				r.Low, r.High = min(r.Low, clampBPM(s.hr[k])), max(r.High, clampBPM(s.hr[k]))
			}
			e.Dropped = append(e.Dropped, r)
		}
		i = j
	}
	for _, st := range s.steps {
		e.Steps = append(e.Steps, Jump{At: start.Add(seconds(st.at)), Size: st.size})
	}
}

// clampBPM keeps what a broken device wrote within what JSON can carry.
func clampBPM(v float64) float64 {
	if v != v {
		return 0
	}
	return min(max(v, -1e6), 1e6)
}

func (e *Explanation) candidates(f *finder, all []candidate, start time.Time) {
	if e == nil {
		return
	}
	for i := range all {
		c := &all[i]
		e.Candidates = append(e.Candidates, Candidate{Start: start.Add(seconds(f.grid.time(c.start))),
			Score: finite(c.score()), Rise: c.evOn, Recovery: c.evOff, Misfit: finite(c.misfit), Speed: c.evSpeed, Hints: c.evHint,
			Level: c.level, Light: c.light, Tau: c.on.tau, RiseBPM: c.on.rise(), FallBPM: c.off.fall(), SD: c.sd, Confidence: c.confidence(), GoesOn: c.goesOn})
	}
}

func finite(v float64) float64 {
	if v != v {
		return 0
	}
	return min(max(v, -1e9), 1e9)
}

// windows notes what was averaged for the test being measured.
func (e *Explanation) windows(m *measures) {
	if e == nil {
		return
	}
	e.averaged, e.delay = e.averaged[:0], m.lag
	add := func(name string, from, to float64, a average) {
		e.averaged = append(e.averaged, WindowUsed{Name: name, From: from - m.at, To: to - m.at, Mean: a.mean, Valid: a.seconds, Coverage: a.coverage()})
	}
	add("whole test", m.at, m.end, m.whole)
	add("HRex", m.hrexFrom, m.hrexTo, m.hrex)
	add("end", m.endAt-m.endHR.want, m.endAt, m.endHR)
	for _, d := range m.delays {
		add(fmt.Sprintf("recovery at %.0f s", d.delay), d.from, d.to, d.avg)
	}
}

// test adds a reported test with the windows noted last.
func (e *Explanation) test(o *schemas.Outcome) {
	if e == nil {
		return
	}
	e.Tests = append(e.Tests, TestExplanation{Start: o.Start, Quality: o.Quality, Reasons: o.Reasons, Windows: slices.Clone(e.averaged), Delay: e.delay})
}

// Text is the explanation in words, one fact a line.
func (e *Explanation) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "looking for %s (%s)\n", e.Protocol, e.Kind)
	fmt.Fprintf(&b, "trace: %d samples, %d valid, one every %.1f s, each stands for at most %.1f s", e.Samples, e.Valid, e.Interval, e.Hold)
	if e.FromRR {
		b.WriteString("; heart rate derived from beat intervals")
	}
	b.WriteString("\n")
	for _, d := range e.Dropped {
		fmt.Fprintf(&b, "dropped %s, %.0f s (%d readings, %.0f to %.0f bpm): %s\n", clock(d.From), d.Seconds, d.Samples, d.Low, d.High, d.Reason)
	}
	for _, j := range e.Steps {
		fmt.Fprintf(&b, "jump at %s: %+.0f bpm, not undone\n", clock(j.At), j.Size)
	}
	for i, c := range e.Candidates {
		fmt.Fprintf(&b, "candidate %d at %s: score %.1f = rise %.1f + recovery %.1f - misfit %.1f - level %.1f + speed %.1f + hints %.1f",
			i+1, clock(c.Start), c.Score, c.Rise, c.Recovery, c.Misfit, c.Level, c.Speed, c.Hints)
		if c.Light > 0 {
			fmt.Fprintf(&b, " - below band %.1f", c.Light)
		}
		b.WriteString("; ")
		fmt.Fprintf(&b, "rises %.0f bpm (tau %.0f s), falls %.0f bpm; start ± %.1f s, confidence %.2f", c.RiseBPM, c.Tau, c.FallBPM, c.SD, c.Confidence)
		if c.GoesOn {
			b.WriteString("; the run is longer than the test")
		}
		b.WriteString("\n")
	}
	for i, t := range e.Tests {
		fmt.Fprintf(&b, "test %d starts %s: %s\n", i+1, clock(t.Start), t.Quality)
		for _, w := range t.Windows {
			fmt.Fprintf(&b, "  %s, %.1f to %.1f s: mean %.1f bpm over %.1f valid s, coverage %.2f\n", w.Name, w.From, w.To, w.Mean, w.Valid, w.Coverage)
		}
		if t.Delay > 0 {
			fmt.Fprintf(&b, "  the device averages: it shows heart rate about %.1f s late, and recovery is read so much later\n", t.Delay)
		}
		for _, r := range t.Reasons {
			fmt.Fprintf(&b, "  %s: %s\n", r.Code, r.Text)
		}
	}
	if e.None != nil {
		fmt.Fprintf(&b, "no test: %s\n", e.None.Text)
	}
	return b.String()
}
