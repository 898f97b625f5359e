package club

import (
	"fmt"
	"strings"
	"time"

	"canter.example/schemas"
)

// Bounds of a test: outside them it is a slip of the pen.
const (
	shortestTest = 30 * time.Second
	longestTest  = time.Hour
	longestDelay = 15 * time.Minute
	mostStages   = 500
)

func (b *builder) protocol(at string, w *protocolWritten) {
	p := DefaultProtocol(string(w.ID), 0)
	if name := strings.TrimSpace(string(w.Name)); name != "" {
		p.Name = name
	}
	if w.Regimen != "" {
		p.Regimen = schemas.Regimen(w.Regimen)
	}
	if w.Progression != "" {
		p.Progression = schemas.Progression(w.Progression)
	}
	if w.Posture != "" {
		p.Posture = schemas.Posture(w.Posture)
	}
	before := len(b.problems)
	p.Stages = b.load(at, w)
	if len(b.problems) == before && len(p.Stages) > 0 {
		b.checkLoad(at, w, &p)
	}
	b.hrex(at, w, &p)
	b.recovery(at, w, &p)
	if w.Band.text != "" {
		low, high, err := ParseBand(string(w.Band.text))
		if err != nil {
			b.word(at+".band", err)
		} else {
			p.BandLow, p.BandHigh = low, high
		}
	}
	p.MinCoverage = number(w.MinCoverage, p.MinCoverage*100) / 100
	for _, v := range w.SameAs {
		if v != "" {
			p.SameAs = append(p.SameAs, string(v))
		}
	}
	p.Version = p.Digest()
	b.club.Protocols = append(b.club.Protocols, p)
}

// load reads the stages, or the short form with one duration and speed.
func (b *builder) load(at string, w *protocolWritten) []schemas.Stage {
	kind := func() string {
		r, p := w.Regimen, w.Progression
		if r == "" {
			r = text(schemas.Continuous)
		}
		if p == "" {
			p = text(schemas.Fixed)
		}
		return string(r) + "-" + string(p)
	}()
	switch {
	case w.Stages != nil && (w.Duration != "" || w.SpeedKMH != ""):
		b.fail(at+".stages", "stages stand beside duration or speed_kmh", "Give each stage its own duration and speed_kmh, and take out those of the protocol")
		return nil
	case w.Stages == nil && kind != "continuous-fixed":
		if !b.doubted(at) || w.Duration != "" {
			b.fail(at, "stages are missing in a "+kind+" protocol", "List them: stages: [{duration: 2m, speed_kmh: 10}, ...]")
		}
		return nil
	case w.Stages == nil && w.Duration == "":
		if !b.doubted(at) {
			b.fail(at, "has neither duration nor stages", "Add the length of the test, such as duration: 4m")
		}
		return nil
	case w.Stages == nil:
		d := b.length(at+".duration", w.Duration, 0, shortestTest, longestTest)
		if d == 0 {
			return nil
		}
		return []schemas.Stage{{Duration: d, SpeedKMH: speed(w.SpeedKMH)}}
	}
	var out []schemas.Stage
	for i, s := range w.Stages {
		if s == nil {
			continue
		}
		at := fmt.Sprintf("%s.stages[%d]", at, i)
		stages := b.stage(at, s)
		if times := int(number(s.Repeat, 1)); len(stages)*times+len(out) <= mostStages {
			for range times {
				out = append(out, stages...)
			}
		} else {
			b.fail(at, fmt.Sprintf("the test grows to more than %d stages", mostStages), "Lower repeat")
			return nil
		}
		if n := len(out); s.Bouts != nil && i == len(w.Stages)-1 && n > 1 && out[n-1].Rest {
			out = out[:n-1] // the rest after the last bout is the recovery
		}
	}
	return out
}

func speed(s text) schemas.Number {
	if s == "" {
		return schemas.Number{}
	}
	return schemas.Num(number(s, 0))
}

// stage reads one entry of stages: a stage, or bouts that repeat together.
func (b *builder) stage(at string, s *stageWritten) []schemas.Stage {
	const least = time.Second
	if s.Bouts == nil {
		if s.Duration == "" {
			if !b.doubted(at) {
				b.fail(at, "has neither duration nor bouts", "Add duration: 2m, or repeat and bouts")
			}
			return nil
		}
		d := b.length(at+".duration", s.Duration, 0, least, longestTest)
		return []schemas.Stage{{Duration: d, SpeedKMH: speed(s.SpeedKMH), Rest: s.Rest}}
	}
	if s.Duration != "" || s.SpeedKMH != "" || s.Rest {
		b.fail(at, "bouts stand beside duration, speed_kmh or rest", "Give each bout its own, and keep only repeat beside bouts")
		return nil
	}
	var out []schemas.Stage
	for j, bout := range s.Bouts {
		if bout == nil || bout.Duration == "" {
			continue
		}
		d := b.length(fmt.Sprintf("%s.bouts[%d].duration", at, j), bout.Duration, 0, least, longestTest)
		out = append(out, schemas.Stage{Duration: d, SpeedKMH: speed(bout.SpeedKMH), Rest: bout.Rest})
	}
	return out
}

// checkLoad checks the stages against the kind of the protocol.
func (b *builder) checkLoad(at string, w *protocolWritten, p *schemas.Protocol) {
	loadAt := at + ".stages"
	if w.Stages == nil {
		loadAt = at + ".duration"
	}
	work, rest := 0, 0
	rising, level := true, true
	var last schemas.Number
	for _, s := range p.Stages {
		if s.Rest {
			rest++
			continue
		}
		work++
		if was, ok := last.Get(); ok && s.SpeedKMH.Present() {
			rising = rising && s.SpeedKMH.Or(0) > was
			level = level && s.SpeedKMH.Or(0) == was
		}
		if s.SpeedKMH.Present() {
			last = s.SpeedKMH
		}
	}
	d := p.Duration()
	switch {
	case work == 0:
		b.fail(loadAt, "no stage has work in it", "Take out rest: true where the athletes run")
	case p.Stages[0].Rest:
		b.fail(loadAt, "the test begins with a rest", "Take it out: the test starts with the first work bout")
	case p.Stages[len(p.Stages)-1].Rest:
		b.fail(loadAt, "the test ends with a rest", "Take it out: the recovery after the test is described by recovery and posture")
	case p.Regimen == schemas.Continuous && rest > 0:
		b.fail(loadAt, "a continuous test has a rest in it", "Write regimen: intermittent, or take the rest out")
	case p.Regimen == schemas.Intermittent && rest == 0:
		b.fail(loadAt, "an intermittent test has no rest in it", "Write regimen: continuous, or add bouts with rest: true")
	case p.Kind() == "continuous-fixed" && work > 1:
		b.fail(loadAt, "a continuous-fixed test has more than one stage", "Write progression: incremental or variable, or one stage")
	case p.Progression == schemas.Fixed && !level:
		b.fail(loadAt, "the bouts of a fixed test have different speeds", "Write progression: incremental or variable, or one speed")
	case p.Progression == schemas.Incremental && work < 2:
		b.fail(loadAt, "an incremental test has only one stage", "Add the next stages, or write progression: fixed")
	case p.Progression == schemas.Incremental && !rising:
		b.fail(loadAt, "the speeds of an incremental test do not rise", "Put the stages in rising order, or write progression: variable")
	case d < shortestTest || d > longestTest:
		b.fail(loadAt, fmt.Sprintf("the test is %s long", FormatDuration(d)),
			fmt.Sprintf("A submaximal test lasts between %s and %s", FormatDuration(shortestTest), FormatDuration(longestTest)))
	}
}

func (b *builder) hrex(at string, w *protocolWritten, p *schemas.Protocol) {
	hrexAt := at + ".hrex"
	switch {
	case w.HRex.Method == "":
	case w.HRex.short:
		m, window, err := ParseHRex(string(w.HRex.Method))
		if err != nil {
			b.word(hrexAt, err)
			return
		}
		p.HRex, p.HRexWindow = m, window
	default:
		p.HRex = schemas.HRexMethod(w.HRex.Method)
	}
	if p.HRexWindow < time.Second {
		p.HRexWindow = DefaultHRexWindow
	}
	windowAt := hrexAt
	if !w.HRex.short && w.HRex.Window != "" {
		windowAt += ".window"
		p.HRexWindow = b.length(windowAt, w.HRex.Window, p.HRexWindow, time.Second, longestTest)
	}
	if len(p.Stages) == 0 {
		return
	}
	room, what := p.Duration(), "the test"
	if p.HRex == schemas.StageMean {
		what = "the shortest work stage"
		for _, s := range p.Stages {
			if !s.Rest {
				room = min(room, s.Duration)
			}
		}
	}
	if p.HRexWindow > room {
		b.fail(windowAt, fmt.Sprintf("the HRex window of %s is longer than %s, %s", FormatDuration(p.HRexWindow), what, FormatDuration(room)),
			fmt.Sprintf("Write a window that fits, such as hrex: %s:%s", p.HRex, FormatDuration(room)))
	}
}

func (b *builder) recovery(at string, w *protocolWritten, p *schemas.Protocol) {
	const leastWindow = time.Second
	p.EndWindow = b.length(at+".end_window", w.EndWindow, p.EndWindow, leastWindow, time.Minute)
	p.RecoveryWindow = b.length(at+".recovery_window", w.RecoveryWindow, p.RecoveryWindow, leastWindow, time.Minute)
	if n := len(p.Stages); n > 0 && p.EndWindow > p.Stages[n-1].Duration {
		b.fail(at+".end_window", fmt.Sprintf("the end window of %s is longer than the last stage, %s",
			FormatDuration(p.EndWindow), FormatDuration(p.Stages[n-1].Duration)), "Shorten it")
	}
	if !w.Recovery.given {
		return
	}
	p.Recovery = nil
	for i, s := range w.Recovery.List {
		if s == "" {
			continue
		}
		delayAt := fmt.Sprintf("%s.recovery[%d]", at, i)
		if w.Recovery.short {
			delayAt = at + ".recovery"
		}
		d := b.length(delayAt, s, 0, p.RecoveryWindow/2, longestDelay)
		if d == 0 {
			continue
		}
		if n := len(p.Recovery); n > 0 && d <= p.Recovery[n-1] {
			b.fail(delayAt, fmt.Sprintf("the delay %s does not come after %s", FormatDuration(d), FormatDuration(p.Recovery[n-1])),
				"List the delays in ascending order, each once")
			continue
		}
		p.Recovery = append(p.Recovery, d)
	}
}
