package engine

import (
	"math"
	"sort"
	"time"

	"canter.example/schemas"
)

// measures are the numbers of one test, before anybody judges them.
type measures struct {
	at, end  float64 // trace seconds
	length   float64
	hrex     average
	hrexFrom float64
	hrexTo   float64
	noise    noise
	hrexSE   float64
	whole    average
	endHR    average
	endAt    float64 // trace seconds at which its window ends
	endNoise noise
	stages   []schemas.StageHR
	missing  int // stages without enough coverage
	delays   []delayed
	tau      schemas.Number
	tauSE    schemas.Number
	band     float64
	bandOK   bool
	speed    float64 // m/s
	speedCV  float64 // %
	speedOK  bool
	ranAfter bool
	leap     leap    // sudden change shortly before the test or at its start, see findLeap
	coverMin float64 // coverage that a window needs to give a number
	turn     float64 // seconds after the start at which heart rate is seen to rise
	lag      float64 // seconds by which the device's averaging delays it
	lagVar   float64 // and the variance of that
}

// measure takes every number of a test that starts at trace time at.
func measure(s *series, at float64, c *candidate, req *Request) measures {
	p := req.Protocol
	m := measures{at: at, length: float64(c.length), coverMin: p.MinCoverage}
	if !req.Start.IsZero() {
		m.at = c.exact
	}
	m.end = m.at + m.length
	if c.source != schemas.StartByHand { // who sets the start says where the windows are
		m.lag, m.lagVar = math.Round(10*c.lag)/10, c.lagVar
	}
	if c.seesOn() {
		m.turn = float64(c.turns[0] - c.start)
	}
	m.whole = s.window(m.at, m.end)
	m.exercise(s, p)
	// A bout lifts heart rate until its end: that is read when the device shows
	// it. A steady run's end is level, and no second of recovery must be in it.
	m.endAt = m.end
	if p.Regimen == schemas.Intermittent {
		m.endAt += m.lag
	}
	m.endHR = s.window(m.endAt-p.EndWindow.Seconds(), m.endAt)
	m.endNoise = s.noiseIn(m.end-30, m.end)
	m.noise = s.noiseIn(m.hrexFrom, m.hrexTo)
	if len(p.Stages) > 1 {
		// About a line the bouts themselves would count as noise: take it from
		// neighbouring samples instead, with a correlation of 0.8 a second.
		m.noise.r = math.Pow(0.8, max(1, s.interval))
		m.noise.sd = max(0.29, s.wiggle/math.Sqrt(2*(1-m.noise.r)))
	}
	m.hrexSE = math.Hypot(m.noise.se(m.hrex.n), m.moved(s, p, c.sd))
	m.runningSpeed(s, p)
	m.recover(s, p, c.sd)
	m.findLeap(s)
	m.timeInBand(s, p, req.HRmax)
	return m
}

// moved is by how much HRex would differ, as a standard deviation, for starts
// that spread by so many seconds.
func (m *measures) moved(s *series, p *schemas.Protocol, startSD float64) float64 {
	early, _, _ := hrexOf(s, p, m.at-startSD, m.end-startSD)
	late, _, _ := hrexOf(s, p, m.at+startSD, m.end+startSD)
	if early.n == 0 || late.n == 0 {
		return 0
	}
	return math.Abs(late.mean-early.mean) / 2
}

// hrexOf takes HRex of a test from at to end by the protocol's method, with the
// window it was taken over.
func hrexOf(s *series, p *schemas.Protocol, at, end float64) (a average, from, to float64) {
	window := min(p.HRexWindow.Seconds(), end-at)
	from, to = end-window, end
	switch p.HRex {
	case schemas.PeakMean:
		a, from = s.highest(at, end, window, p.MinCoverage)
		return a, from, from + window
	case schemas.StageMean:
		// The end of the last stage that was run to its end.
		t := at
		for _, st := range p.Stages {
			begin := t
			t += st.Duration.Seconds()
			if !st.Rest && st.Duration > 0 && t <= end+0.5 && len(p.Stages) > 1 {
				from, to = max(begin, t-min(window, st.Duration.Seconds())), t
			}
		}
	case schemas.FinalMean:
	}
	return s.window(from, to), from, to
}

// exercise takes HRex by the protocol's method, and the stages of a test that
// has several.
func (m *measures) exercise(s *series, p *schemas.Protocol) {
	m.hrex, m.hrexFrom, m.hrexTo = hrexOf(s, p, m.at, m.end)
	if len(p.Stages) < 2 {
		return
	}
	window := min(p.HRexWindow.Seconds(), m.length)
	t, number := m.at, 0
	for _, st := range p.Stages {
		from := t
		t += st.Duration.Seconds()
		if st.Rest || st.Duration <= 0 {
			continue
		}
		number++
		w := min(window, st.Duration.Seconds())
		a := average{want: w}
		if t <= m.end+0.5 {
			a = s.window(max(from, t-w), t)
		}
		out := schemas.StageHR{Stage: number, Coverage: a.coverage()}
		if a.coverage() >= p.MinCoverage && a.n > 0 {
			out.BPM = schemas.Num(a.mean)
		} else {
			m.missing++
		}
		m.stages = append(m.stages, out)
	}
}

// runningSpeed takes mean and coefficient of variation of the speed in the
// work of the test. Left out are the first 5 s of each work stage, and the last
// 2 s before a rest: a start is known to a second or two, and receivers smooth.
func (m *measures) runningSpeed(s *series, p *schemas.Protocol) {
	if s.speeds == 0 {
		return
	}
	var n, sum, sum2, want float64
	t := m.at
	for i, st := range p.Stages {
		from, to := t+5, min(t+st.Duration.Seconds(), m.end)
		if i+1 < len(p.Stages) && p.Stages[i+1].Rest {
			to -= 2
		}
		t += st.Duration.Seconds()
		if st.Rest || to <= from {
			continue
		}
		want += to - from
		for i := sort.SearchFloat64s(s.at, from); i < len(s.at) && s.at[i] < to; i++ {
			if s.have[i]&schemas.HasSpeed != 0 {
				w, v := s.hold[i], float64(s.speed[i])
				n, sum, sum2 = n+w, sum+w*v, sum2+w*v*v
			}
		}
	}
	if n == 0 || n < 0.6*want {
		return
	}
	m.speed = sum / n
	if m.speed < 0.3 {
		return // indoors, or a speed sensor that saw nothing
	}
	m.speedCV = 100 * math.Sqrt(max(0, sum2/n-m.speed*m.speed)) / m.speed
	m.speedOK = true
}

// timeInBand adds up the valid seconds inside the intensity band.
func (m *measures) timeInBand(s *series, p *schemas.Protocol, hrmax schemas.HRmax) {
	top, ok := hrmax.BPM.Get()
	if !ok || top <= 0 || p.BandHigh <= p.BandLow {
		return
	}
	m.bandOK = true
	for i := s.firstAt(m.at); i < len(s.at) && s.at[i] < m.end; i++ {
		if s.why[i] != kept || s.hr[i] < p.BandLow*top || s.hr[i] > p.BandHigh*top {
			continue
		}
		m.band += max(0, min(s.at[i]+s.hold[i], m.end)-max(s.at[i], m.at))
	}
}

// fill writes the numbers that the trace supports into the outcome. The
// reasons for absent ones are given by judge.
func (m *measures) fill(o *schemas.Outcome, req *Request) {
	top, known := req.HRmax.BPM.Get()
	known = known && top > 0
	o.Coverage = m.hrex.coverage()
	if o.Coverage >= m.coverMin && m.hrex.n > 0 {
		o.HRexBPM, o.HRexSE = schemas.Num(m.hrex.mean), schemas.Num(m.hrexSE)
		if known {
			o.HRexPct = schemas.Num(100 * m.hrex.mean / top)
		}
	}
	if m.whole.n > 0 {
		o.PeakBPM = schemas.Num(m.whole.peak)
	}
	if m.endHR.coverage() >= m.coverMin && m.endHR.n > 0 {
		o.EndHR = schemas.Num(m.endHR.mean)
	}
	for _, d := range m.delays {
		r := schemas.Recovery{Seconds: int(math.Round(d.delay)), Coverage: d.avg.coverage()}
		if d.ok {
			r.BPM, r.SE = schemas.Num(d.fall), schemas.Num(d.se)
			r.PctEnd = schemas.Num(100 * d.fall / m.endHR.mean)
		}
		o.Recovery = append(o.Recovery, r)
	}
	o.Stages = m.stages
	if known {
		for i := range o.Stages {
			if v, ok := o.Stages[i].BPM.Get(); ok {
				o.Stages[i].Pct = schemas.Num(100 * v / top)
			}
		}
	}
	o.RecoveryTau, o.RecoveryTauSE = m.tau, m.tauSE
	if m.bandOK {
		o.BandSeconds = schemas.Num(m.band)
	}
	if m.speedOK {
		o.SpeedKMH, o.SpeedCV = schemas.Num(3.6*m.speed), schemas.Num(m.speedCV)
	}
}

// view is the trace around a test as kept in history: leadIn seconds before it,
// the test, and all that its recovery needs, or up to five minutes where they were
// recorded.
func (s *series) view(at float64, length int, p *schemas.Protocol) []schemas.TraceSecond {
	const leadIn = 120
	recorded := int(s.at[len(s.at)-1] - at - float64(length))
	after := max(int(p.MaxRecovery()/time.Second)+15, min(recorded, 300))
	out := roomForWindow(leadIn + length + after)
	prev := -1 // last valid sample before the second
	i := sort.SearchFloat64s(s.at, at-leadIn-bridged)
	for k := -leadIn; k < length+after; k++ {
		t := at + float64(k)
		for i < len(s.at) && s.at[i] < t-1e-6 {
			if s.why[i] == kept {
				prev = i
			}
			i++
		}
		sec := schemas.TraceSecond{Second: k}
		for j := i; j < len(s.at) && s.at[j] < t+1-1e-6; j++ {
			if s.hr[j] != 0 && !math.IsNaN(s.hr[j]) {
				sec.Raw = schemas.Num(s.hr[j])
			}
			if s.have[j]&schemas.HasSpeed != 0 {
				sec.Speed = schemas.Num(float64(s.speed[j]))
			}
			if s.why[j] == kept {
				sec.Clean = schemas.Num(s.hr[j])
				sec.Dropped = ""
			} else if !sec.Clean.Present() {
				sec.Dropped = dropWords[s.why[j]]
			}
		}
		if !sec.Clean.Present() {
			s.bridge(&sec, t, prev, i)
		}
		out = append(out, sec)
	}
	return out
}

// bridge shows a gap of at most 10 s as a line between its edges. A second
// inside the hold of the sample before it is that sample, not a gap.
func (s *series) bridge(sec *schemas.TraceSecond, t float64, prev, i int) {
	if prev < 0 {
		return
	}
	if s.at[prev]+s.hold[prev] > t+1e-6 {
		sec.Clean = schemas.Num(s.hr[prev])
		return
	}
	next := i
	for next < len(s.at) && s.why[next] != kept && s.at[next]-s.at[prev] <= bridged {
		next++
	}
	if next >= len(s.at) || s.why[next] != kept || s.at[next]-s.at[prev] > bridged || s.at[next] < t {
		if sec.Dropped == "" {
			sec.Dropped = "gap"
		}
		return
	}
	share := (t - s.at[prev]) / (s.at[next] - s.at[prev])
	sec.Clean = schemas.Num(s.hr[prev] + share*(s.hr[next]-s.hr[prev]))
	if sec.Dropped == "" {
		sec.Dropped = "gap"
	}
	sec.Dropped += ", bridged for display"
}
