package main

import (
	"path/filepath"
	"testing"
	"time"

	"canter.example/cmd/canter/season"
	"canter.example/ingest/formats"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/scorer/engine"
	"canter.example/scorer/identify"
)

// BenchmarkSeason takes the demo's files apart from all services: what decoding
// costs by format, and what finding and scoring the test and the training load
// cost, in milliseconds of one core a file. Beside them are the same with
// recordings of whole sessions.
func BenchmarkSeason(b *testing.B) {
	b.Run("short", func(b *testing.B) { benchmarkRecordings(b, season.Options{}) })
	b.Run("whole", func(b *testing.B) { benchmarkRecordings(b, season.Options{Whole: true}) })
}

func benchmarkRecordings(b *testing.B, opt season.Options) {
	b.Helper()
	s, err := season.New(opt)
	if err != nil {
		b.Fatal(err)
	}
	c := seasonClub(b, s)
	byFormat := map[string][]season.File{}
	var all []asked
	for _, d := range s.Days {
		for _, f := range d.Files {
			traces, format, err := decodeSeason(c, f)
			if err != nil {
				continue // daily series, and files that the story breaks
			}
			byFormat[format] = append(byFormat[format], f)
			for i := range traces {
				all = append(all, asks(c, f, &traces[i]))
			}
		}
	}
	perFile := func(b *testing.B, files int, each func()) {
		b.Helper()
		b.ReportAllocs()
		begin := cpu()
		for b.Loop() {
			each()
		}
		b.ReportMetric(float64((cpu()-begin).Microseconds())/1e3/float64(files*b.N), "cpu-ms/file")
	}
	files := 0
	for _, format := range []string{formats.FIT, formats.TCX, formats.GPX, formats.CSV, formats.ZIP} {
		of := byFormat[format]
		files += len(of)
		b.Run("decode/"+format, func(b *testing.B) {
			perFile(b, len(of), func() {
				for _, f := range of {
					traces, _, _ := decodeSeason(c, f)
					formats.Free(traces) // as the service does once they are scored
				}
			})
		})
	}
	b.Run("decode/all", func(b *testing.B) {
		perFile(b, files, func() {
			for _, of := range byFormat {
				for _, f := range of {
					traces, _, _ := decodeSeason(c, f)
					formats.Free(traces)
				}
			}
		})
	})
	b.Run("score", func(b *testing.B) {
		perFile(b, files, func() {
			for i := range all {
				for _, req := range all[i].requests {
					engine.Score(all[i].trace, req)
				}
			}
		})
	})
	b.Run("load", func(b *testing.B) {
		perFile(b, files, func() {
			for i := range all {
				engine.Load(all[i].trace, all[i].athlete, all[i].trace.Start.Year())
			}
		})
	})
	b.Run("score and load", func(b *testing.B) { // as the service does, with one cleaning
		perFile(b, files, func() {
			for i := range all {
				r := engine.Open(all[i].trace)
				r.Load(all[i].athlete, all[i].trace.Start.Year())
				for _, req := range all[i].requests {
					for _, found := range r.Score(req).Tests {
						engine.FreeWindow(found.Window)
					}
				}
				r.Close()
			}
		})
	})
}

// asked is one athlete's trace and what the scorer asks of it.
type asked struct {
	trace    *schemas.Trace
	athlete  *schemas.Athlete
	requests []engine.Request
}

// asks makes the scorer's requests: each planned test, else the club's protocols.
func asks(c *club.Club, f season.File, tr *schemas.Trace) asked {
	a := asked{trace: tr, athlete: &schemas.Athlete{}}
	origin := origin(c, f)
	if who, err := identify.Who(c, identify.Question{Origin: origin, Trace: tr}); err == nil {
		a.athlete = who.Athlete
	}
	hrmax := a.athlete.HRmaxAt(tr.Start.Year())
	for _, slot := range c.SlotsFor(origin.Squad, tr.Start, tr.Start.Add(tr.End())) {
		a.requests = append(a.requests, engine.Request{Protocol: c.Protocol(slot.Planned.Protocol), HRmax: hrmax, Around: slot.Time, Within: slot.Planned.Within})
	}
	if len(a.requests) == 0 {
		for i := range c.Protocols {
			a.requests = append(a.requests, engine.Request{Protocol: &c.Protocols[i], HRmax: hrmax})
		}
	}
	return a
}

func decodeSeason(c *club.Club, f season.File) ([]schemas.Trace, string, error) {
	date, _ := identify.Date(c, origin(c, f))
	return formats.Decode(f.Path, f.Content, formats.Options{Zone: c.Zone, Date: date})
}

// origin is where a file of the season was found.
func origin(c *club.Club, f season.File) schemas.Origin {
	o := schemas.Origin{Folder: c.Squads[0].Folders[0].Path, Path: f.Path[len(f.Folder)+1:], Squad: c.Squads[0].ID}
	if f.Folder != "inbox/first" {
		o.Folder, o.Squad = c.Squads[1].Folders[0].Path, c.Squads[1].ID
	}
	return o
}

// seasonClub loads the season's club file.
func seasonClub(tb testing.TB, s *season.Season) *club.Club {
	tb.Helper()
	dir := tb.TempDir()
	for name, content := range map[string][]byte{"club.yaml": s.ClubYAML, "athletes.csv": s.AthletesCSV} {
		if err := writeSeasonFile(dir, season.File{Path: name, Content: content}, time.Now()); err != nil {
			tb.Fatal(err)
		}
	}
	c, err := club.Load(filepath.Join(dir, "club.yaml"))
	if err != nil {
		tb.Fatal(err)
	}
	return c
}
