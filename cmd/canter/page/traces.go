package page

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"time"

	"canter.example/schemas"
)

// tracesData are all traces of a session for the chart, one value a second.
type tracesData struct {
	Seconds  []int        `json:"seconds"`
	Duration int          `json:"duration"`
	Traces   []namedTrace `json:"traces"`
}

type namedTrace struct {
	Test   schemas.TestID   `json:"test"`
	Name   string           `json:"name"`
	Words  string           `json:"words"`
	Values []schemas.Number `json:"values"`
}

func (p *Page) sessionTraces(w http.ResponseWriter, r *http.Request, _ viewer) error {
	rows, err := p.sessionRowsOf(r.Context(), r.URL.Query().Get("id"))
	if err != nil {
		return err
	}
	d := tracesData{Traces: []namedTrace{}}
	from, to := 0, 0
	for i := range rows {
		d.Duration = max(d.Duration, int(rows[i].outcome.Duration.Seconds()))
		if s := rows[i].seconds; len(s) > 0 {
			from, to = min(from, s[0].Second), max(to, s[len(s)-1].Second)
		}
	}
	for s := from; s <= to; s++ {
		d.Seconds = append(d.Seconds, s)
	}
	for i := range rows {
		t := namedTrace{rows[i].Test, rows[i].Name, rows[i].Trace, make([]schemas.Number, to-from+1)}
		for _, s := range rows[i].seconds {
			t.Values[s.Second-from] = s.Clean
		}
		d.Traces = append(d.Traces, t)
	}
	return writeJSON(w, d)
}

func writeJSON(w http.ResponseWriter, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(b)
	return nil
}

// span is a run of readings that did not count, for one reason.
type span struct {
	From int    `json:"from"`
	To   int    `json:"to"` // the first second after it
	Why  string `json:"why"`
}

func spans(seconds []schemas.TraceSecond) []span {
	out := []span{}
	for _, t := range seconds {
		if t.Dropped == "" {
			continue
		}
		why, _, _ := strings.Cut(t.Dropped, ", bridged")
		if n := len(out); n > 0 && out[n-1].Why == why && out[n-1].To == t.Second {
			out[n-1].To++
			continue
		}
		out = append(out, span{t.Second, t.Second + 1, why})
	}
	return out
}

// dropped says in words what did not count, in order of time.
func dropped(seconds []schemas.TraceSecond) []string {
	var out []string
	all := spans(seconds)
	for i, s := range all {
		if i == 20 {
			out = append(out, fmt.Sprintf("and %d times more", len(all)-i))
			break
		}
		out = append(out, fmt.Sprintf("%s to %s: %s, %d s", minutes(s.From), minutes(s.To), s.Why, s.To-s.From))
	}
	return out
}

// traceData is one trace for the chart. Seconds count from the test's start.
type traceData struct {
	Seconds  []int            `json:"seconds"`
	Raw      []schemas.Number `json:"raw"`
	Clean    []schemas.Number `json:"clean"`
	Speed    []schemas.Number `json:"speed"` // km/h
	HasSpeed bool             `json:"has_speed"`
	Dropped  []span           `json:"dropped"`
	Windows  []window         `json:"windows"`
	Band     *band            `json:"band"`
}

// window is a stretch of time that a number is made of.
type window struct {
	Name string  `json:"name"`
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

// band is the intensity that the protocol means, in bpm; nil where it means none
// or HRmax is not known.
type band struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	Name string  `json:"name"`
}

func (p *Page) band(o *schemas.Outcome) *band {
	x, ok := o.HRmax.BPM.Get()
	proto := p.club.Protocol(o.Protocol)
	if !ok || proto == nil || proto.BandHigh <= proto.BandLow {
		return nil
	}
	return &band{x * proto.BandLow, x * proto.BandHigh, fmt.Sprintf("intended %.0f to %.0f %%HRmax", 100*proto.BandLow, 100*proto.BandHigh)}
}

func (p *Page) testTrace(w http.ResponseWriter, r *http.Request, _ viewer) error {
	o, err := p.findTest(r.Context(), r.URL.Query().Get("id"))
	if err != nil {
		return err
	}
	var d traceData
	if r.URL.Query().Get("whole") != "" {
		tr, err := p.cfg.Scorer.Recording(r.Context(), &o)
		if err != nil {
			return notFound("The whole recording is not there: " + err.Error() + ".")
		}
		d = wholeTrace(tr, o.Start)
	} else {
		seconds, err := p.cfg.History.TraceSeconds(r.Context(), o.TestID)
		if err != nil {
			return err
		}
		d = keptTrace(seconds)
	}
	d.Windows, d.Band = p.windows(&o), p.band(&o)
	return writeJSON(w, d)
}

func keptTrace(seconds []schemas.TraceSecond) traceData {
	d := traceData{Dropped: spans(seconds), Seconds: []int{}, Raw: []schemas.Number{}, Clean: []schemas.Number{}, Speed: []schemas.Number{}}
	for _, t := range seconds {
		// The axis has every second, so that a gap in the recording is one to see.
		for n := len(d.Seconds); n > 0 && d.Seconds[n-1]+1 < t.Second; n = len(d.Seconds) {
			d.add(d.Seconds[n-1]+1, schemas.Number{}, schemas.Number{}, schemas.Number{})
		}
		d.add(t.Second, t.Raw, t.Clean, t.Speed)
	}
	return d
}

func (d *traceData) add(second int, raw, clean, speed schemas.Number) {
	d.Seconds = append(d.Seconds, second)
	d.Raw = append(d.Raw, raw)
	d.Clean = append(d.Clean, clean)
	if v, ok := speed.Get(); ok {
		d.HasSpeed, speed = true, schemas.Num(v*3.6)
	}
	d.Speed = append(d.Speed, speed)
}

// longestRecording is how many seconds of a whole recording are shown.
const longestRecording = 6 * 3600

// wholeTrace is a recording as it came, nothing cleaned, one value a second.
func wholeTrace(tr *schemas.Trace, start time.Time) traceData {
	d := traceData{Dropped: []span{}, Seconds: []int{}, Raw: []schemas.Number{}, Clean: []schemas.Number{}, Speed: []schemas.Number{}}
	offset := tr.Start.Sub(start)
	n := min(int(tr.End()/time.Second)+1, longestRecording)
	hr, speed := make([]schemas.Number, n), make([]schemas.Number, n)
	for i := range tr.Samples {
		s := &tr.Samples[i]
		at := int(s.At / time.Second)
		if at < 0 || at >= n {
			continue
		}
		if s.HR > 0 {
			hr[at] = schemas.Num(float64(s.HR))
		}
		if s.Have&schemas.HasSpeed != 0 {
			speed[at] = schemas.Num(float64(s.Speed))
		}
	}
	first := int(offset / time.Second)
	for i := range hr {
		d.add(first+i, hr[i], hr[i], speed[i])
	}
	return d
}

// windows are what the numbers of a test are made of.
func (p *Page) windows(o *schemas.Outcome) []window {
	end := o.Duration.Seconds()
	out := []window{{"run", 0, end}}
	x := p.club.Protocol(o.Protocol)
	if x == nil {
		return out
	}
	switch x.HRex {
	case schemas.FinalMean:
		out = append(out, window{"HRex", end - x.HRexWindow.Seconds(), end})
	case schemas.StageMean:
		at := 0.0
		for _, s := range x.Stages {
			at += s.Duration.Seconds()
			if !s.Rest && at <= end+1 {
				out = append(out, window{"HRex", at - x.HRexWindow.Seconds(), at})
			}
		}
	case schemas.PeakMean: // wherever it was highest
	}
	for _, r := range x.Recovery {
		s, half := r.Seconds(), x.RecoveryWindow.Seconds()/2
		out = append(out, window{fmt.Sprintf("HRR%.0f", s), end + s - half, end + s + half})
	}
	return out
}
