package judge

import (
	"math"
	"math/rand/v2"
	"time"
)

// Group is the sort of trial a session is.
type Group string

// Groups.
const (
	Clean    Group = "clean"
	Trap     Group = "trap"
	NoTest   Group = "no test"
	Artefact Group = "artefact"
)

// Manner is what help the program gets.
type Manner string

// Manners.
const (
	Unaided Manner = "no help"
	Planned Manner = "planned time"
	Lapped  Manner = "lap marks"
)

// Session is one file with all that is known of it.
type Session struct {
	Index    int
	Group    Group
	Kind     string
	Severity int // 1 to 3 in the artefact group, else 0
	Form     *Form
	Manner   Manner
	Format   string
	Body     Body
	Device   Device
	Plan     *Plan
	Begin    time.Time // second 0 of the plan by the device's clock
	Heart    []float64 // noiseless heart rate at each second
	Seen     []float64 // what the device would have read with nothing wrong
	Rec      Recording
	Truths   []Truth
}

// Truth is what the outcomes of a test are.
type Truth struct {
	Start        time.Time // by the device's clock
	Full, Rested bool
	// HRex and HRR60 by their definitions from the noiseless heart rate, and
	// from a faultless strap: the same heart with its variability, seen with
	// the averaging and delay of the device. HRR from the strap is lower or
	// higher by what the delay hides.
	HRex, HRR         float64
	StrapEx, StrapHRR float64
}

// plannedAt is the time the club's plan gives to every test here.
var plannedAt = time.Date(2026, 3, 10, 10, 0, 0, 0, time.UTC)

// Make makes session index of a seed.
func Make(seed uint64, index int) *Session {
	r := rand.New(rand.NewPCG(seed, uint64(index)))
	s := &Session{Index: index, Body: NewBody(r), Device: NewDevice(r), Form: drawForm(r)}
	s.Manner = []Manner{Unaided, Unaided, Planned, Planned, Lapped}[r.IntN(5)]
	draw := r.Float64()
	fault := -1
	switch {
	case draw < 0.3:
		s.Group, s.Kind, s.Plan = Clean, "clean", cleanPlan(r, s.Form)
	case draw < 0.55:
		s.trap(r)
	case draw < 0.7:
		k := r.IntN(len(nones))
		s.Group, s.Kind, s.Plan = NoTest, nones[k].name, nonePlan(r, s.Form, k)
	default:
		s.Group, s.Severity, s.Plan = Artefact, secs(r, 1, 3), cleanPlan(r, s.Form)
		fault = r.IntN(len(artefacts) + len(clockFaults) + 1)
	}
	s.observe(r, fault)
	s.clock(r)
	s.write(r, fault)
	s.truths()
	return s
}

func drawForm(r *rand.Rand) *Form {
	x := r.Float64()
	for i := range forms {
		if x -= forms[i].weight; x < 0 {
			return &forms[i].Form
		}
	}
	return &forms[0].Form
}

func (s *Session) trap(r *rand.Rand) {
	t := traps[r.IntN(len(traps))]
	s.Group, s.Kind, s.Plan = Trap, t.name, t.plan(r, s.Form)
	switch t.name {
	case "clock minutes off":
		s.Manner = Planned
	case "lap pressed late":
		s.Manner = Lapped
	}
}

// observe lets the device see the heart, faultless in Seen; fault numbers the
// artefacts, then the clock's faults, then ectopic beats.
func (s *Session) observe(r *rand.Rand, fault int) {
	s.Heart = s.Body.Heart(s.Plan)
	varied := s.Body.vary(s.Heart, r)
	sound := beats(varied, func(int) float64 { return 0 }, r)
	s.Seen = s.Device.read(sound, len(varied))
	if fault == len(artefacts)+len(clockFaults) {
		s.Kind = "ectopic beats"
		rate := [...]float64{0, 0.01, 0.04, 0.12}[s.Severity]
		s.Rec.Beats = beats(varied, func(int) float64 { return rate }, r)
	}
}

// clock sets the device's clock: the planned test begins within 4 min of the
// plan; in one trap the clock is off by 2 to 9 min on top.
func (s *Session) clock(r *rand.Rand) {
	at := s.Plan.Planned
	if n := len(s.Plan.Tests); n > 0 {
		at = s.Plan.Tests[r.IntN(n)].Start
	}
	off := clamp(80*r.NormFloat64(), -240, 240)
	if s.Kind == "clock minutes off" {
		by := between(r, 120, 540)
		if r.Float64() < 0.5 {
			by = -by
		}
		off += by
	}
	s.Begin = plannedAt.Add(time.Duration(math.Round(off)-float64(at)) * time.Second)
}

// write spoils what was seen and stores it.
func (s *Session) write(r *rand.Rand, fault int) {
	str := &stream{hr: append([]float64(nil), s.Seen...), speed: s.Device.speeds(s.Plan.Speed, r)}
	str.cadence = s.Body.cadences(s.Plan.Speed, r)
	if s.Rec.Beats != nil {
		str.hr = s.Device.read(s.Rec.Beats, len(str.hr))
	}
	switch {
	case s.Kind == "strap put on late":
		t := s.Plan.Tests[0]
		for i := range t.Start + int(float64(t.End-t.Start)*between(r, 0.08, 0.6)) {
			str.hr[i] = math.NaN()
		}
	case s.Kind == "strap not worn":
		unworn(str, r)
	case fault >= 0 && fault < len(artefacts):
		s.Kind = artefacts[fault].name
		if s.Kind == "lock on step cadence" && r.Float64() < 0.7 {
			s.Device.Cadence = true
		}
		artefacts[fault].spoil(str, spot{s.Plan.Tests[0], s.Severity, &s.Body, &s.Device}, r)
	}
	s.Rec.Begin = s.Begin
	s.Rec.Samples = s.Device.store(str, s.Begin, r)
	if k := fault - len(artefacts); k >= 0 && k < len(clockFaults) {
		s.Kind = clockFaults[k].name
		a := 0
		for a < len(s.Rec.Samples)-1 && s.Rec.Samples[a].At.Before(s.at(s.Plan.Tests[0].Start)) {
			a++
		}
		s.Rec.Samples = clockFaults[k].spoil(s.Rec.Samples, a, s.Severity, r)
	}
	s.laps(r)
	s.format(r)
}

func (s *Session) at(second int) time.Time { return s.Begin.Add(time.Duration(second) * time.Second) }

// laps are pressed at the start and end of a test and at some drills, within
// about a second; late by 8 to 25 s in one trap.
func (s *Session) laps(r *rand.Rand) {
	if s.Manner != Lapped {
		return
	}
	marks := append([]int(nil), s.Plan.Laps...)
	for _, t := range s.Plan.Tests {
		start := t.Start + int(math.Round(clamp(0.6+r.NormFloat64(), -2, 4)))
		if s.Kind == "lap pressed late" {
			start = t.Start + secs(r, 8, 25)
		}
		marks = append(marks, start, t.End+int(math.Round(clamp(0.8+r.NormFloat64(), -1, 4))))
	}
	s.Rec.mark(marks, s.Begin, s.at(len(s.Heart)))
}

func (s *Session) format(r *rand.Rand) {
	switch x := r.Float64(); {
	case s.Rec.Beats != nil && x < 0.6, x < 0.5:
		s.Format = "fit"
	case x < 0.72 || s.Manner == Lapped:
		s.Format = "tcx"
	case x < 0.84:
		s.Format = "gpx"
	default:
		s.Format = "csv"
	}
}

// truths applies the definitions: HRex is the mean of the form's window at the
// end of the test, or the highest such mean inside it; end HR the mean of its
// last 5 s; HRR60 is end HR minus the mean of the 5 s centred on 60 s after.
func (s *Session) truths() {
	for _, t := range s.Plan.Tests {
		tr := Truth{Start: s.at(t.Start), Full: t.Full, Rested: t.Rested}
		tr.HRex, tr.HRR = s.Form.outcomes(s.Heart, t)
		tr.StrapEx, tr.StrapHRR = s.Form.outcomes(s.Seen, t)
		s.Truths = append(s.Truths, tr)
	}
}

func (f *Form) outcomes(hr []float64, t Test) (ex, hrr float64) {
	end, w := float64(t.End), float64(f.Window)
	ex = mean(hr, end-w, end)
	if f.Peak {
		for a := float64(t.Start); a <= end-w; a++ {
			ex = max(ex, mean(hr, a, a+w))
		}
	}
	return ex, mean(hr, end-5, end) - mean(hr, end+57.5, end+62.5)
}
