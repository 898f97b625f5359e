package season

import (
	"errors"
	"time"
)

// device is what an athlete records with, and so the format of the file.
type device uint8

const (
	fitWatch     device = iota // each second, with speed and cadence
	fitLaps                    // the same; the athlete presses the lap button at the test
	fitSmart                   // only readings that say something new
	fitBeats                   // each second, with the lengths of the beats
	tcxEvery                   // each second
	tcxSmart                   // every 1 to 6 s
	gpxEvery                   // each second
	gpxSmart                   // every 1 to 6 s
	csvComma                   // date and clock time, commas
	csvSemicolon               // elapsed seconds, decimal comma, semicolons
	csvTab                     // clock time only, tabs
	receiver                   // a team's receiver: see export.go
)

// The invented makers' names, as they stand in the files.
const (
	watchName = "Fellside 2"
	strapName = "Ribbon HR"
	phoneName = "Trailnote"
)

func (d device) smart() bool { return d == fitSmart || d == tcxSmart || d == gpxSmart }

func (d device) extension() string {
	switch d {
	case fitWatch, fitLaps, fitSmart, fitBeats:
		return ".fit"
	case tcxEvery, tcxSmart:
		return ".tcx"
	case gpxEvery, gpxSmart:
		return ".gpx"
	case csvComma, csvSemicolon, csvTab, receiver:
		return ".csv"
	}
	return ""
}

var errNoDevice = errors.New("no such device")

// encode writes a recording as the athlete's device does. Zone is that of the
// clock times in CSV; the other formats keep UTC.
func encode(p *person, rec *recording, zone *time.Location) ([]byte, error) {
	switch p.device {
	case fitWatch, fitLaps, fitSmart, fitBeats:
		return fitFile(p, rec)
	case tcxEvery, tcxSmart:
		return tcxFile(p, rec), nil
	case gpxEvery, gpxSmart:
		return gpxFile(p, rec), nil
	case csvComma:
		return commaFile(rec, zone), nil
	case csvSemicolon:
		return semicolonFile(rec, zone), nil
	case csvTab:
		return tabFile(rec, zone), nil
	case receiver: // makes no file of its own
	}
	return nil, errNoDevice
}
