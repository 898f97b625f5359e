package formats

import (
	"strconv"
	"strings"
	"time"

	"canter.example/schemas"
)

// tcxReader reads a TCX file: activities, laps, tracks, points.
// All activities of a file become one trace; finish parts those that lie far
// from each other.
type tcxReader struct {
	track
	steps bool // the present activity's cadence counts steps
	laps  []tcxLap
}

type tcxLap struct {
	start   int64 // Unix nanoseconds, 0 when the file does not say
	last    int64 // of its last point
	seconds float64
	manual  bool
}

func newTCX(b *budget, src *xmlTokens) *tcxReader {
	return &tcxReader{track: newTrack(b, src), steps: true}
}

func (r *tcxReader) start(name, _ string, attrs []xmlAttr) {
	switch name {
	case "Trackpoint":
		r.point = trackPoint{}
	case "Activity":
		// Cycling counts turns of the crank.
		r.steps = !strings.EqualFold(attr(attrs, "Sport"), "Biking")
	case "Lap":
		lap := tcxLap{}
		if at, _, ok := parseXMLTime([]byte(strings.TrimSpace(attr(attrs, "StartTime")))); ok && plausibleTime(at) {
			lap.start = at.UnixNano()
		}
		r.laps = append(r.laps, lap)
	}
}

func attr(attrs []xmlAttr, name string) string {
	for i := range attrs {
		if attrs[i].name == name {
			return attrs[i].value
		}
	}
	return ""
}

func (r *tcxReader) lap() *tcxLap {
	if len(r.laps) == 0 {
		return &tcxLap{}
	}
	return &r.laps[len(r.laps)-1]
}

func (r *tcxReader) end(name, parent string, text []byte) bool {
	switch name {
	case "Trackpoint":
		if r.point.timed {
			r.lap().last = r.point.at
		}
		return r.endPoint()
	case "Time":
		if parent == "Trackpoint" {
			r.time(text)
		}
	case "Value":
		if parent == "HeartRateBpm" { // the lap's mean and maximum have other parents
			r.heartRate(text)
		}
	case "Speed":
		if parent == "TPX" {
			r.speed(text)
		}
	case "Cadence":
		if parent == "Trackpoint" && r.steps {
			r.strides(text)
		}
	case "RunCadence":
		if parent == "TPX" {
			r.strides(text)
		}
	case "TotalTimeSeconds":
		if s, err := strconv.ParseFloat(string(text), 64); err == nil && s > 0 && s < 1e6 {
			r.lap().seconds = s
		}
	case "TriggerMethod":
		r.lap().manual = string(text) == "Manual"
	case "UnitId":
		if parent == "Creator" && string(text) != "0" {
			r.trace.Device.Serials = addSerial(r.trace.Device.Serials, cleanText(string(text)))
		}
	case "Name":
		if parent == "Creator" {
			r.trace.Device.Product = cleanText(string(text))
		}
	}
	return true
}

func (r *tcxReader) result(damage schemas.Damage) (schemas.Trace, *Error) {
	t, err := r.finishTrack(damage, "no trackpoints in this TCX file")
	if err != nil {
		return t, err
	}
	for i, l := range r.laps {
		if l.start == 0 {
			continue
		}
		end := l.last
		switch {
		case i+1 < len(r.laps) && r.laps[i+1].start > l.start:
			end = r.laps[i+1].start
		case l.seconds > 0:
			end = l.start + int64(l.seconds*float64(time.Second))
		}
		t.Laps = append(t.Laps, schemas.Lap{
			Start: time.Duration(l.start - r.recorder.start),
			End:   time.Duration(max(end, l.start) - r.recorder.start),
			// The last lap ends with the recording, which files call manual too.
			Manual: l.manual && i+1 < len(r.laps),
		})
	}
	return t, nil
}
