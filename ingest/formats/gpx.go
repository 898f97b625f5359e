package formats

import (
	"strings"

	"canter.example/schemas"
)

// gpxReader reads a GPX file's track points. Segments and tracks of a file
// become one trace; finish parts those that lie far from each other.
type gpxReader struct {
	track
	open bool // a trkpt is open
}

func newGPX(b *budget, src *xmlTokens) *gpxReader {
	return &gpxReader{track: newTrack(b, src)}
}

func (r *gpxReader) start(name, _ string, attrs []xmlAttr) {
	switch name {
	case "trkpt":
		r.point, r.open = trackPoint{}, true
	case "gpx":
		r.trace.Device.Product = cleanText(attr(attrs, "creator"))
	}
}

func (r *gpxReader) end(name, parent string, text []byte) bool {
	if !r.open {
		if name == "name" && parent == "author" {
			r.trace.Label = cleanText(string(text))
		}
		return true
	}
	switch name {
	case "trkpt":
		r.open = false
		return r.endPoint()
	case "time":
		if parent == "trkpt" {
			r.time(text)
		}
	case "speed", "Speed":
		r.speed(text) // GPX 1.0 has it in the point itself
	case "hr", "HR", "heartrate", "HeartRate", "heartRate", "heart_rate":
		r.heartRate(text)
	case "cad", "cadence", "Cadence", "RunCadence":
		r.strides(text)
	default:
		if strings.EqualFold(name, "hr") {
			r.heartRate(text)
		}
	}
	return true
}

func (r *gpxReader) result(damage schemas.Damage) (schemas.Trace, *Error) {
	return r.finishTrack(damage, "no track points in this GPX file")
}
