package judge

import (
	"fmt"
	"strings"
	"time"
)

const (
	stamp           = "2006-01-02T15:04:05Z"
	metresPerDegree = 111_195.0 // of latitude, on a sphere of 6,371 km
)

// tcx writes the recording in the Training Center format, version 2.
func (rec *Recording) tcx() []byte {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>
<TrainingCenterDatabase xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2" xmlns:x="http://www.garmin.com/xmlschemas/ActivityExtension/v2"><Activities><Activity Sport="Running">
`)
	first := rec.Samples[0].At
	fmt.Fprintf(&b, "<Id>%s</Id>\n", first.Format(stamp))
	laps := rec.Laps
	if len(laps) == 0 {
		laps = []Lap{{Start: first, End: rec.Samples[len(rec.Samples)-1].At.Add(time.Second)}}
	}
	i := 0
	for k, l := range laps {
		trigger := "Distance"
		if l.Manual {
			trigger = "Manual"
		}
		fmt.Fprintf(&b, "<Lap StartTime=%q><TotalTimeSeconds>%.1f</TotalTimeSeconds><TriggerMethod>%s</TriggerMethod><Track>\n",
			l.Start.Format(stamp), l.End.Sub(l.Start).Seconds(), trigger)
		for ; i < len(rec.Samples) && (k == len(laps)-1 || rec.Samples[i].At.Before(l.End)); i++ {
			rec.Samples[i].trackpoint(&b)
		}
		b.WriteString("</Track></Lap>\n")
	}
	b.WriteString("</Activity></Activities></TrainingCenterDatabase>\n")
	return []byte(b.String())
}

func (s *Sample) trackpoint(b *strings.Builder) {
	fmt.Fprintf(b, "<Trackpoint><Time>%s</Time>", s.At.Format(stamp))
	if s.HR >= 0 {
		fmt.Fprintf(b, "<HeartRateBpm><Value>%d</Value></HeartRateBpm>", s.HR)
	}
	if s.HasSpeed || s.HasCadence {
		b.WriteString("<Extensions><x:TPX>")
		if s.HasSpeed {
			fmt.Fprintf(b, "<x:Speed>%.3f</x:Speed>", s.Speed)
		}
		if s.HasCadence {
			fmt.Fprintf(b, "<x:RunCadence>%d</x:RunCadence>", s.Cadence/2)
		}
		b.WriteString("</x:TPX></Extensions>")
	}
	b.WriteString("</Trackpoint>\n")
}

// gpx writes the recording as a track with heart rate in the usual extension.
func (rec *Recording) gpx() []byte {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="judge" xmlns="http://www.topografix.com/GPX/1/1" xmlns:e="http://www.garmin.com/xmlschemas/TrackPointExtension/v2"><trk><trkseg>
`)
	lat, before := 1.0, rec.Samples[0].At // due north, as far as the speed goes
	for _, s := range rec.Samples {
		lat += s.Speed * s.At.Sub(before).Seconds() / metresPerDegree
		before = s.At
		fmt.Fprintf(&b, `<trkpt lat="%.7f" lon="2"><time>%s</time><extensions><e:TrackPointExtension>`, lat, s.At.Format(stamp))
		if s.HR >= 0 {
			fmt.Fprintf(&b, "<e:hr>%d</e:hr>", s.HR)
		}
		if s.HasCadence {
			fmt.Fprintf(&b, "<e:cad>%d</e:cad>", s.Cadence/2)
		}
		if s.HasSpeed {
			fmt.Fprintf(&b, "<e:speed>%.3f</e:speed>", s.Speed)
		}
		b.WriteString("</e:TrackPointExtension></extensions></trkpt>\n")
	}
	b.WriteString("</trkseg></trk></gpx>\n")
	return []byte(b.String())
}

// csv writes a heading line and a line a sample.
func (rec *Recording) csv() []byte {
	var b strings.Builder
	b.WriteString("Timestamp,HR (bpm)")
	if rec.Samples[0].HasSpeed {
		b.WriteString(",Speed (m/s)")
	}
	if rec.Samples[0].HasCadence {
		b.WriteString(",Cadence (spm)")
	}
	b.WriteByte('\n')
	for _, s := range rec.Samples {
		b.WriteString(s.At.Format(stamp) + ",")
		if s.HR >= 0 {
			fmt.Fprint(&b, s.HR)
		}
		if s.HasSpeed {
			fmt.Fprintf(&b, ",%.3f", s.Speed)
		}
		if s.HasCadence {
			fmt.Fprintf(&b, ",%d", s.Cadence)
		}
		b.WriteByte('\n')
	}
	return []byte(b.String())
}

// bytes is the file as its format.
func (s *Session) bytes() ([]byte, error) {
	switch s.Format {
	case "fit":
		return s.Rec.fit()
	case "tcx":
		return s.Rec.tcx(), nil
	case "gpx":
		return s.Rec.gpx(), nil
	default:
		return s.Rec.csv(), nil
	}
}
