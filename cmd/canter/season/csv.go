package season

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// commaFile is the dialect of most programs: commas, date and clock time in
// the club's zone, a unit in the headings, an empty cell for no reading.
func commaFile(rec *recording, zone *time.Location) []byte {
	b := make([]byte, 0, 36*len(rec.samples)+64)
	b = append(b, "Time,Heart rate (bpm),Speed (km/h)\n"...)
	local := rec.start.In(zone)
	for i := range rec.samples {
		s := &rec.samples[i]
		b = local.Add(time.Duration(s.sec)*time.Second).AppendFormat(b, "2006-01-02 15:04:05")
		b = append(b, ',')
		if s.hr != 0 {
			b = strconv.AppendInt(b, int64(s.hr), 10)
		}
		b = append(b, ',')
		b = strconv.AppendFloat(b, 3.6*s.speed, 'f', 1, 64)
		b = append(b, '\n')
	}
	return b
}

// semicolonFile is the dialect of spreadsheets where the comma is decimal: a
// byte-order mark, CRLF, elapsed seconds under a line that says when they
// began, 0 for no reading.
func semicolonFile(rec *recording, zone *time.Location) []byte {
	b := make([]byte, 0, 20*len(rec.samples)+128)
	b = append(b, "\ufeffStart;"...)
	b = rec.start.In(zone).AppendFormat(b, "2006-01-02 15:04:05")
	b = append(b, "\r\nelapsed_s;heart_rate;speed_m_s\r\n"...)
	for i := range rec.samples {
		s := &rec.samples[i]
		b = strconv.AppendInt(b, int64(s.sec), 10)
		b = append(b, ';')
		b = strconv.AppendInt(b, int64(s.hr), 10)
		b = append(b, ';')
		b = append(b, strings.Replace(strconv.FormatFloat(s.speed, 'f', 2, 64), ".", ",", 1)...)
		b = append(b, "\r\n"...)
	}
	return b
}

// tabFile is the dialect of a strap's own app: tabs, a clock time without a
// date, whole rows missing where the strap gave nothing, no speed.
func tabFile(rec *recording, zone *time.Location) []byte {
	b := make([]byte, 0, 16*len(rec.samples)+32)
	b = append(b, "time\tHR\tcadence\n"...)
	local := rec.start.In(zone)
	for i := range rec.samples {
		s := &rec.samples[i]
		if s.hr == 0 {
			continue
		}
		b = local.Add(time.Duration(s.sec)*time.Second).AppendFormat(b, time.TimeOnly)
		b = append(b, '\t')
		b = strconv.AppendInt(b, int64(s.hr), 10)
		b = append(b, '\t')
		b = strconv.AppendInt(b, int64(math.Round(s.steps)), 10)
		b = append(b, '\n')
	}
	return b
}
