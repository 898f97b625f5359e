package season

import (
	"archive/zip"
	"bytes"
	"fmt"
	"strconv"
	"time"
)

// one is an athlete's part of a team export.
type one struct {
	p     *person
	rec   *recording
	truth Truth
}

// teamExport makes the one file that the second squad's receiver leaves after
// a test: week by week a wide CSV with a column an athlete, a long CSV with an
// athlete column, and a ZIP with a file an athlete.
func (g *generator) teamExport(date time.Time, week int) (File, error) {
	var all []one
	for i := range g.people {
		p := &g.people[i]
		if p.squad != second {
			continue
		}
		q := *p
		q.wave = 0 // they are few: all start together
		rec, truth := g.testRecording(&q, week, g.happens(p, week))
		all = append(all, one{p, rec, truth})
	}
	truths := make([]Truth, len(all))
	for i := range all {
		truths[i] = all[i].truth
	}
	switch week % 3 {
	case 1:
		return newFile(folderSecond, date, "team-export.csv", wideFile(all, g.zone), truths...), nil
	case 2:
		return newFile(folderSecond, date, "team-export-long.csv", longFile(all, g.zone), truths...), nil
	default:
		content, err := zipFile(all, g.zone)
		return newFile(folderSecond, date, "team-export.zip", content, truths...), err
	}
}

// wideFile has one row a second and one column an athlete, under the name the
// club uses. The receiver begins with the first strap it hears; a cell is
// empty before an athlete's strap is on and after it is off.
func wideFile(all []one, zone *time.Location) []byte {
	from, to := all[0].rec.heard(), all[0].rec.start
	for _, a := range all {
		if heard := a.rec.heard(); heard.Before(from) {
			from = heard
		}
		if end := a.rec.at(a.rec.seconds()); end.After(to) {
			to = end
		}
	}
	b := []byte("Time")
	for _, a := range all {
		b = append(append(b, ','), a.p.name...)
	}
	b = append(b, '\n')
	next := make([]int, len(all))
	for t := from; t.Before(to); t = t.Add(time.Second) {
		b = t.In(zone).AppendFormat(b, "2006-01-02 15:04:05")
		for i, a := range all {
			b = append(b, ',')
			for next[i] < len(a.rec.samples) && a.rec.at(a.rec.samples[next[i]].sec).Before(t) {
				next[i]++
			}
			if next[i] == len(a.rec.samples) {
				continue
			}
			if s := a.rec.samples[next[i]]; s.hr != 0 && a.rec.at(s.sec).Equal(t) {
				b = strconv.AppendInt(b, int64(s.hr), 10)
			}
		}
		b = append(b, '\n')
	}
	return b
}

// heard is when the first reading came.
func (r *recording) heard() time.Time {
	for i := range r.samples {
		if r.samples[i].hr != 0 {
			return r.at(r.samples[i].sec)
		}
	}
	return r.at(r.seconds())
}

// longFile has one row a reading, athlete after athlete, under their ids.
func longFile(all []one, zone *time.Location) []byte {
	b := []byte("athlete;time;heart_rate;speed_kmh\n")
	for _, a := range all {
		local := a.rec.start.In(zone)
		for i := range a.rec.samples {
			s := &a.rec.samples[i]
			b = append(append(b, a.p.id...), ';')
			b = local.Add(time.Duration(s.sec)*time.Second).AppendFormat(b, "2006-01-02 15:04:05")
			b = append(b, ';')
			if s.hr != 0 {
				b = strconv.AppendInt(b, int64(s.hr), 10)
			}
			b = append(b, ';')
			b = strconv.AppendFloat(b, 3.6*s.speed, 'f', 1, 64)
			b = append(b, '\n')
		}
	}
	return b
}

// zipFile packs a file an athlete, FIT and CSV in turn, named by id.
func zipFile(all []one, zone *time.Location) ([]byte, error) {
	var buf bytes.Buffer
	z := zip.NewWriter(&buf)
	for i, a := range all {
		q := *a.p
		q.device = []device{fitWatch, csvComma}[i%2]
		content, err := encode(&q, a.rec, zone)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", q.id, err)
		}
		w, err := z.CreateHeader(&zip.FileHeader{
			Name: q.id + q.device.extension(), Method: zip.Deflate, Modified: a.rec.at(a.rec.seconds()),
		})
		if err != nil {
			return nil, fmt.Errorf("%s: %w", q.id, err)
		}
		if _, err := w.Write(content); err != nil {
			return nil, fmt.Errorf("%s: %w", q.id, err)
		}
	}
	if err := z.Close(); err != nil {
		return nil, fmt.Errorf("team export: %w", err)
	}
	return buf.Bytes(), nil
}
