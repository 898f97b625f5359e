package chart

import (
	"fmt"
	"math"

	"canter.example/schemas"
)

// window is a stretch of a test in seconds since its start, half-open.
type window struct {
	name     string
	from, to float64
}

// length returns how long a test was, in seconds: as run, else as planned.
func length(o *schemas.Outcome, p *schemas.Protocol) float64 {
	if o.Duration > 0 {
		return o.Duration.Seconds()
	}
	if p != nil {
		return p.Duration().Seconds()
	}
	return 0
}

// hrexWindows returns where HRex was averaged, as the protocol says; none
// when the protocol is not known.
func hrexWindows(o *schemas.Outcome, p *schemas.Protocol, trace []schemas.TraceSecond) []window {
	if p == nil || p.HRexWindow <= 0 {
		return nil
	}
	end, w := length(o, p), p.HRexWindow.Seconds()
	switch p.HRex {
	case schemas.PeakMean:
		if from, ok := highest(trace, end, w); ok {
			return []window{{"HRex", from, from + w}}
		}
		return nil
	case schemas.StageMean:
		return stageWindows(p, end, w)
	case schemas.FinalMean:
	}
	return []window{{"HRex", max(end-w, 0), end}}
}

func stageWindows(p *schemas.Protocol, end, w float64) []window {
	var out []window
	at := 0.0
	for _, s := range p.Stages {
		from := at
		if at += s.Duration.Seconds(); s.Rest || at > end+1 {
			continue
		}
		out = append(out, window{fmt.Sprintf("stage %d", len(out)+1), max(at-w, from), at})
	}
	return out
}

// highest returns where the mean over w seconds inside the test is highest.
func highest(trace []schemas.TraceSecond, end, w float64) (from float64, ok bool) {
	best := math.Inf(-1)
	var sum float64
	n, first := 0, 0
	inside := func(t *schemas.TraceSecond) (float64, bool) {
		v, ok := t.Clean.Get()
		return v, ok && t.Dropped == "" && t.Second >= 0 && float64(t.Second) < end
	}
	for i := range trace {
		if v, ok := inside(&trace[i]); ok {
			sum, n = sum+v, n+1
		}
		for ; first < i && float64(trace[i].Second-trace[first].Second) >= w; first++ {
			if v, ok := inside(&trace[first]); ok {
				sum, n = sum-v, n-1
			}
		}
		if at := float64(trace[i].Second) + 1 - w; at >= 0 && float64(trace[i].Second) < end && n > 0 && sum/float64(n) > best {
			best, from, ok = sum/float64(n), at, true
		}
	}
	return from, ok
}

// recoveryWindows returns the windows of each HRR; as wide as the protocol
// says, a second where the protocol is not known.
func recoveryWindows(o *schemas.Outcome, p *schemas.Protocol) []window {
	half := 0.5
	var delays []float64
	if p != nil {
		half = max(p.RecoveryWindow.Seconds()/2, half)
		for _, d := range p.Recovery {
			delays = append(delays, d.Seconds())
		}
	} else {
		for _, r := range o.Recovery {
			delays = append(delays, float64(r.Seconds))
		}
	}
	end := length(o, p)
	var out []window
	for _, d := range delays {
		out = append(out, window{fmt.Sprintf("HRR%.0f", d), end + d - half, end + d + half})
	}
	return out
}

// run is an unbroken piece of a trace.
type run struct {
	second []float64
	bpm    []float64
	// bridged: not measured, drawn across a short gap.
	bridged bool
}

// runs splits the clean trace between two seconds into measured and bridged
// pieces. A bridged piece begins and ends on its measured neighbours.
func runs(trace []schemas.TraceSecond, from, to float64) []run {
	var out []run
	var last *schemas.TraceSecond
	for i := range trace {
		t := &trace[i]
		v, ok := t.Clean.Get()
		if float64(t.Second) < from || float64(t.Second) > to {
			continue
		}
		if !ok {
			last = nil
			continue
		}
		bridged := t.Dropped != ""
		follows := last != nil && t.Second-last.Second <= maxStep && t.Second > last.Second
		switch {
		case !follows:
			out = append(out, run{bridged: bridged})
		case out[len(out)-1].bridged != bridged:
			out = append(out, run{second: []float64{float64(last.Second)}, bpm: []float64{last.Clean.Or(0)}, bridged: true})
			if !bridged { // the bridge's last piece is already drawn as one
				r := &out[len(out)-1]
				r.second, r.bpm = append(r.second, float64(t.Second)), append(r.bpm, v)
				out = append(out, run{})
			}
		}
		r := &out[len(out)-1]
		r.second, r.bpm = append(r.second, float64(t.Second)), append(r.bpm, v)
		last = t
	}
	return out
}

// maxStep: seconds of a trace window follow each other without holes; a
// caller's own may not.
const maxStep = 2

// dropped is a stretch of readings that were not used, and why.
type dropped struct {
	from, to int // to is after the last second
	why      string
}

func droppedRuns(trace []schemas.TraceSecond) []dropped {
	var out []dropped
	for i := range trace {
		t := &trace[i]
		why := plainReason(t.Dropped)
		if why == "" {
			continue
		}
		if n := len(out) - 1; n >= 0 && out[n].why == why && out[n].to == t.Second {
			out[n].to++
			continue
		}
		out = append(out, dropped{t.Second, t.Second + 1, why})
	}
	return out
}
