package judge

import (
	"fmt"
	"math"
	"strings"
)

// Result is one session's answer held against its truth. Errors are the
// program's value minus the true one, NaN where one of the two is missing.
type Result struct {
	Index      int
	Group      Group
	Kind       string
	Severity   int
	Form       string
	Manner     Manner
	Format     string
	Lag        float64 // of the device, s
	Speed      bool    // was stored
	EverySec   bool    // a sample each second
	Quality    string  // good, check, reject; "none" without an answer
	HasTest    bool    // the athlete ran one, whole or not
	StartError float64 // s
	Ex, HRR    float64 // against the noiseless heart, bpm
	// StrapEx and StrapHRR are against the faultless strap.
	StrapEx, StrapHRR float64
	// FalseGood is a test called good that was not run, or not to its end.
	FalseGood bool
	// NoRest is an HRR given of a test after which nobody rested.
	NoRest bool
	Says   string // the answer in short
	Why    []string
}

// compare pairs the answers with the truth whose start is nearest.
func compare(s *Session, lines []Line) Result {
	nan := math.NaN()
	r := Result{Index: s.Index, Group: s.Group, Kind: s.Kind, Severity: s.Severity, Form: s.Form.ID, Manner: s.Manner,
		Format: s.Format, Lag: s.Device.Lag(), Speed: s.Device.Speed, EverySec: s.Device.Interval == 1, Quality: "none",
		HasTest: len(s.Truths) > 0, StartError: nan, Ex: nan, HRR: nan, StrapEx: nan, StrapHRR: nan}
	best, truth := nearest(lines, s.Truths)
	if best < 0 {
		return r
	}
	for i, l := range lines {
		// A second test called good must be one as well.
		if _, t := nearest(lines[i:i+1], s.Truths); l.Quality == "good" && (t == nil || !t.Full || i != best && startError(l, t) > 60) {
			r.FalseGood = true
		}
	}
	l := lines[best]
	r.Quality, r.Says, r.Why = l.Quality, l.String(), l.Reasons
	if truth == nil {
		if r.FalseGood {
			r.Quality = "good"
		}
		return r
	}
	r.StartError = l.startError(truth)
	if l.HRex != nil {
		r.Ex, r.StrapEx = *l.HRex-truth.HRex, *l.HRex-truth.StrapEx
	}
	if l.HRR != nil && truth.Rested {
		r.HRR, r.StrapHRR = *l.HRR-truth.HRR, *l.HRR-truth.StrapHRR
	}
	r.NoRest = l.HRR != nil && !truth.Rested && l.Quality == "good"
	return r
}

func (l *Line) startError(t *Truth) float64 {
	if l.Start == nil {
		return math.NaN()
	}
	return l.Start.Sub(t.Start).Seconds()
}

func startError(l Line, t *Truth) float64 {
	e := math.Abs(l.startError(t))
	if math.IsNaN(e) {
		return math.MaxFloat64
	}
	return e
}

// nearest returns the index of the answer and the truth whose starts are
// closest; -1 without answers, nil without a truth.
func nearest(lines []Line, truths []Truth) (int, *Truth) {
	if len(lines) == 0 {
		return -1, nil
	}
	if len(truths) == 0 {
		return 0, nil
	}
	line, truth, least := 0, 0, math.Inf(1)
	for i, l := range lines {
		for k := range truths {
			if e := startError(l, &truths[k]); e < least {
				line, truth, least = i, k, e
			}
		}
	}
	return line, &truths[truth]
}

// String is the answer in short.
func (l *Line) String() string {
	var b strings.Builder
	b.WriteString(l.Quality)
	if l.Start != nil {
		fmt.Fprintf(&b, ", start %s (%s", l.Start.UTC().Format("15:04:05"), l.Source)
		if l.Confidence != nil {
			fmt.Fprintf(&b, ", %.2f", *l.Confidence)
		}
		b.WriteString(")")
	}
	if l.HRex != nil {
		fmt.Fprintf(&b, ", HRex %.1f", *l.HRex)
	}
	if l.HRR != nil {
		fmt.Fprintf(&b, ", HRR60 %.1f", *l.HRR)
	}
	return b.String()
}

// SilentHRex reports a good test whose HRex is more than 3 bpm from the truth.
func (r *Result) SilentHRex() bool { return r.good() && math.Abs(r.Ex) > 3 }

// SilentHRR reports a good test whose HRR60 is more than 5 bpm from the truth.
func (r *Result) SilentHRR() bool { return r.good() && math.Abs(r.HRR) > 5 }

// good is a test called good that was one.
func (r *Result) good() bool { return r.Quality == "good" && !r.FalseGood }
