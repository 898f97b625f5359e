package season

import (
	"math"
	"path"
	"slices"
	"strings"
	"testing"
	"time"

	"canter.example/ingest/formats"
	"canter.example/schemas"
)

// roundTripped is a whole season, with every event of the story in it.
var roundTripped = Options{Seed: 5, Weeks: 12, Athletes: 22}

func decode(f File, s *Season) ([]schemas.Trace, string, error) {
	day, _ := time.ParseInLocation(time.DateOnly, path.Base(path.Dir(f.Path)), s.Zone)
	return formats.Decode(f.Path, f.Content, formats.Options{Zone: s.Zone, Date: day})
}

// traceOf finds an athlete's trace among those of a file.
func traceOf(traces []schemas.Trace, p *person) *schemas.Trace {
	if len(traces) == 1 {
		return &traces[0]
	}
	for i := range traces {
		said := traces[i].Part + " " + traces[i].Label
		if strings.Contains(said, p.id) || strings.Contains(said, p.name) {
			return &traces[i]
		}
	}
	return nil
}

// held is the time-weighted mean of readings over [from, to) seconds after
// start, each reading holding until the next but for at most 7 s.
func held(tr *schemas.Trace, start time.Time, from, to float64) float64 {
	zero := start.Sub(tr.Start).Seconds()
	sum, weight := 0.0, 0.0
	for i, s := range tr.Samples {
		a, b := s.At.Seconds()-zero, s.At.Seconds()-zero+7
		if i+1 < len(tr.Samples) {
			b = min(b, tr.Samples[i+1].At.Seconds()-zero)
		}
		if w := min(b, to) - max(a, from); w > 0 && s.HR > 0 {
			sum, weight = sum+w*float64(s.HR), weight+w
		}
	}
	return sum / weight
}

// What a reader makes of the files must bear out the truth beside them: the
// readings are whole bpm, so HRex may be off by a rounding's mean, HRR60 by
// that of two short windows, and more where a recorder skipped readings.
func TestFilesBearOutTheirTruth(t *testing.T) {
	s := mustNew(t, roundTripped)
	people := map[string]*person{}
	all := roster(roundTripped.Seed, roundTripped.Athletes)
	for i := range all {
		people[all[i].id] = &all[i]
	}
	checked := map[string]int{}
	for _, f := range s.files() {
		if f.Daily {
			checkDaily(t, f, s)
			continue
		}
		traces, format, err := decode(f, s)
		if err != nil {
			t.Errorf("%s: %v", f.Path, err)
			continue
		}
		if want := path.Ext(f.Path)[1:]; format != want {
			t.Errorf("%s: read as %q", f.Path, format)
		}
		if len(traces) != len(f.Truth) {
			t.Errorf("%s: %d traces of %d athletes", f.Path, len(traces), len(f.Truth))
			continue
		}
		for _, truth := range f.Truth {
			p := people[truth.Athlete]
			if p == nil {
				p = &person{}
			}
			tr := traceOf(traces, p)
			if tr == nil {
				t.Errorf("%s: no trace of %s", f.Path, truth.Athlete)
				continue
			}
			checkTrace(t, f, tr, truth, p)
			checked[format]++
		}
	}
	for _, format := range []string{formats.FIT, formats.TCX, formats.GPX, formats.CSV, formats.ZIP} {
		if checked[format] < 4 {
			t.Errorf("only %d traces in %s were checked", checked[format], format)
		}
	}
}

// checkDaily checks a sheet: a temperature for each squad, or four mornings of
// each athlete, and session RPE only where there was a session.
func checkDaily(t *testing.T, f File, s *Season) {
	t.Helper()
	rows, found, err := formats.DecodeSeries(f.Path, f.Content, formats.Options{Zone: s.Zone})
	if err != nil || !found {
		t.Errorf("%s: found %t, %v", f.Path, found, err)
	}
	n := map[string]int{}
	for _, r := range rows {
		n[r.Series]++
		if r.Series == schemas.SessionRPE && (r.Value < 30 || r.Value > 900) || r.Series == "sleep" && (r.Value < 3 || r.Value > 11) {
			t.Errorf("%s: %+v", f.Path, r)
		}
	}
	if path.Base(f.Path) == conditionsFile {
		if len(rows) != 2 || n["temperature"] != 2 || rows[0].Squad == rows[1].Squad {
			t.Errorf("%s: %+v", f.Path, rows)
		}
		return
	}
	mornings, sessions := 4, 3
	if n["sleep"] < 3*roundTripped.Athletes {
		mornings, sessions = 2, 1 // the sheet of a test's morning
	}
	if n["sleep"] != mornings*roundTripped.Athletes || n["wellness"] != n["sleep"] || n["temperature"] != 0 ||
		n[schemas.SessionRPE] < sessions*(roundTripped.Athletes-2) || n[schemas.SessionRPE] > sessions*roundTripped.Athletes {
		t.Errorf("%s: %v", f.Path, n)
	}
}

func checkTrace(t *testing.T, f File, tr *schemas.Trace, truth Truth, p *person) {
	t.Helper()
	name := f.Path + " " + truth.Athlete
	broke := strings.Contains(truth.Reason, "broke off")
	if (tr.Damage.Kind == schemas.EndsEarly) != broke {
		t.Errorf("%s: damage %+v", name, tr.Damage)
	}
	if minutes := tr.End().Minutes(); !broke && (minutes < 24 || minutes > 76) {
		t.Errorf("%s: %.0f min long", name, minutes)
	}
	if !truth.Test || truth.Doubtful {
		return
	}
	within := 0.5
	if p.device.smart() {
		within = 1.2
	}
	if got := held(tr, truth.Start, 180, 240); !(math.Abs(got-truth.HRexBPM) < within) {
		t.Errorf("%s: HRex %.2f in the file, %.2f in truth", name, got, truth.HRexBPM)
	}
	hrr := held(tr, truth.Start, 235, 240) - held(tr, truth.Start, 297.5, 302.5)
	if !(math.Abs(hrr-truth.HRR60) < 2*within+0.5) {
		t.Errorf("%s: HRR60 %.2f in the file, %.2f in truth", name, hrr, truth.HRR60)
	}
	if path.Ext(f.Path) != ".fit" && path.Ext(f.Path) != ".tcx" {
		return
	}
	strap := p.strapSerial()
	if p.id == strapFails && path.Base(path.Dir(f.Path)) > "2026-10-12" {
		strap = p.newStrapSerial()
	}
	if path.Ext(f.Path) == ".fit" && !slices.Contains(tr.Device.Serials, strap) {
		t.Errorf("%s: serials %v without the strap's %s", name, tr.Device.Serials, strap)
	}
	sum, n := 0.0, 0.0
	zero := truth.Start.Sub(tr.Start)
	for _, smp := range tr.Samples {
		if smp.Have&schemas.HasSpeed != 0 && smp.At >= zero+10*time.Second && smp.At < zero+240*time.Second {
			sum, n = sum+float64(smp.Speed), n+1
		}
	}
	if speed := sum / n; !(speed > 3.2 && speed < 3.5) {
		t.Errorf("%s: %.2f m/s in the test", name, speed)
	}
	if p.device == fitLaps {
		marked := slices.ContainsFunc(tr.Laps, func(l schemas.Lap) bool {
			return l.Manual && (l.Start-zero).Abs() <= 2*time.Second && (l.End-l.Start-240*time.Second).Abs() <= 3*time.Second
		})
		if !marked {
			t.Errorf("%s: no lap at the test: %v", name, tr.Laps)
		}
	}
	if (p.device == fitBeats) != (len(tr.RR) > 1000) {
		t.Errorf("%s: %d beats", name, len(tr.RR))
	}
}

// Whoever reads a broken file may say no, or leave nobody to give it to; none
// may be taken for a session of the athlete in its path.
func TestBrokenFilesCannotBeRead(t *testing.T) {
	s := mustNew(t, Options{Weeks: 1})
	refused, strangers := 0, 0
	for _, f := range Broken() {
		traces, _, err := decode(f, s)
		switch what := f.Truth[0].Reason; {
		case f.Truth[0].Athlete != "":
			refused++
			if err == nil {
				t.Errorf("%s: %s: read as %d traces, notes %q", f.Path, what, len(traces), traces[0].Notes)
			}
		default:
			strangers++
			if err != nil {
				t.Errorf("%s: %s: %v", f.Path, what, err)
			}
		}
	}
	if refused < 25 || strangers < 4 {
		t.Errorf("%d files to refuse, %d of strangers", refused, strangers)
	}
}
