package season

import (
	"math"
	"strconv"
	"time"

	"github.com/muktihari/fit/profile/typedef"
)

const stampFormat = "2006-01-02T15:04:05Z"

// tcxFile writes a training-centre activity with the activity extension for
// speed and cadence, but without positions.
func tcxFile(p *person, rec *recording) []byte {
	b := make([]byte, 0, 250*len(rec.samples)+2048)
	b = append(b, `<?xml version="1.0" encoding="UTF-8"?>
<TrainingCenterDatabase xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2" xmlns:ns3="http://www.garmin.com/xmlschemas/ActivityExtension/v2" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<Activities><Activity Sport="Running"><Id>`...)
	b = rec.start.AppendFormat(b, stampFormat)
	b = append(b, "</Id>\n"...)
	rest := rec.samples
	for _, l := range rec.laps() {
		b = append(b, `<Lap StartTime="`...)
		b = rec.at(l.from).AppendFormat(b, stampFormat)
		b = append(b, `"><TotalTimeSeconds>`...)
		b = strconv.AppendInt(b, int64(l.to-l.from), 10)
		b = append(b, `</TotalTimeSeconds><DistanceMeters>`...)
		b = strconv.AppendFloat(b, l.meters, 'f', 1, 64)
		b = append(b, `</DistanceMeters><Calories>0</Calories><Intensity>Active</Intensity><TriggerMethod>`...)
		b = append(b, trigger(l.by)...)
		b = append(b, "</TriggerMethod><Track>\n"...)
		for len(rest) > 0 && rest[0].sec < l.to {
			b = trackpoint(b, rec, &rest[0])
			rest = rest[1:]
		}
		b = append(b, "</Track></Lap>\n"...)
	}
	b = append(b, `<Creator xsi:type="Device_t"><Name>`+watchName+`</Name><UnitId>`...)
	b = strconv.AppendUint(b, uint64(p.watch), 10)
	b = append(b, "</UnitId><ProductID>2</ProductID></Creator>\n</Activity></Activities>\n</TrainingCenterDatabase>\n"...)
	return b
}

func trigger(by typedef.LapTrigger) string {
	if by == typedef.LapTriggerDistance {
		return "Distance"
	}
	return "Manual"
}

func trackpoint(b []byte, rec *recording, s *sample) []byte {
	b = append(b, "<Trackpoint><Time>"...)
	b = rec.at(s.sec).AppendFormat(b, stampFormat)
	b = append(b, "</Time><DistanceMeters>"...)
	b = strconv.AppendFloat(b, s.far, 'f', 1, 64)
	b = append(b, "</DistanceMeters>"...)
	if s.hr != 0 {
		b = append(b, "<HeartRateBpm><Value>"...)
		b = strconv.AppendInt(b, int64(s.hr), 10)
		b = append(b, "</Value></HeartRateBpm>"...)
	}
	b = append(b, "<Extensions><ns3:TPX><ns3:Speed>"...)
	b = strconv.AppendFloat(b, s.speed, 'f', 2, 64)
	b = append(b, "</ns3:Speed><ns3:RunCadence>"...)
	b = strconv.AppendInt(b, int64(math.Round(s.steps/2)), 10)
	return append(b, "</ns3:RunCadence></ns3:TPX></Extensions></Trackpoint>\n"...)
}

// The pitch of the GPX files lies nowhere: in the open Atlantic.
const (
	pitchLat, pitchLon = 38.50000, -12.50000
	pitchRadius        = 42.0 // m, of the circle that everybody runs
	metersPerDegree    = 111195.0
)

// gpxFile writes a GPX 1.1 track with the track point extension for heart
// rate. It has no speed of its own; the positions give it.
func gpxFile(p *person, rec *recording) []byte {
	b := make([]byte, 0, 230*len(rec.samples)+1024)
	b = append(b, `<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="`+phoneName+`" xmlns="http://www.topografix.com/GPX/1/1" xmlns:gpxtpx="http://www.garmin.com/xmlschemas/TrackPointExtension/v1">
<metadata><time>`...)
	b = rec.start.AppendFormat(b, stampFormat)
	b = append(b, "</time></metadata>\n<trk><name>Training</name><type>running</type><trkseg>\n"...)
	r := chance(uint64(p.watch), "position", rec.start.Format(time.RFC3339))
	wide := math.Cos(pitchLat * math.Pi / 180)
	var east, north float64 // the receiver's own error, m
	for i := range rec.samples {
		s := &rec.samples[i]
		east = 0.995*east + 0.1*r.NormFloat64()
		north = 0.995*north + 0.1*r.NormFloat64()
		sin, cos := math.Sincos(s.far / pitchRadius)
		b = append(b, `<trkpt lat="`...)
		b = strconv.AppendFloat(b, pitchLat+(pitchRadius*sin+north)/metersPerDegree, 'f', 7, 64)
		b = append(b, `" lon="`...)
		b = strconv.AppendFloat(b, pitchLon+(pitchRadius*cos+east)/(metersPerDegree*wide), 'f', 7, 64)
		b = append(b, `"><time>`...)
		b = rec.at(s.sec).AppendFormat(b, stampFormat)
		b = append(b, "</time>"...)
		if s.hr != 0 {
			b = append(b, "<extensions><gpxtpx:TrackPointExtension><gpxtpx:hr>"...)
			b = strconv.AppendInt(b, int64(s.hr), 10)
			b = append(b, "</gpxtpx:hr></gpxtpx:TrackPointExtension></extensions>"...)
		}
		b = append(b, "</trkpt>\n"...)
	}
	return append(b, "</trkseg></trk>\n</gpx>\n"...)
}
