package formats

import (
	"fmt"
	"slices"
	"time"

	"canter.example/schemas"
)

// finish makes the traces, when all lines were read.
func (r *csvReader) finish() ([]schemas.Trace, *Error) {
	var out []schemas.Trace
	absurd := tally{}
	for _, t := range r.traces {
		if err := r.resolve(t, &absurd); err != nil {
			return nil, err
		}
		if len(t.trace.Samples) == 0 {
			continue
		}
		r.scaleSpeed(&t.trace)
		r.scaleCadence(&t.trace)
		if len(r.traces) == 1 && r.about.serial != "" {
			t.trace.Device.Serials = addSerial(t.trace.Device.Serials, r.about.serial)
		}
		t.trace.Notes = append(slices.Concat(r.notes, r.times.notes), t.trace.Notes...)
		out = append(out, t.trace)
	}
	rec := recorder{noTime: r.noTime, absurd: absurd}
	if len(out) == 0 {
		return nil, rec.emptyError("no lines of samples below the heading line")
	}
	rec.noteTallies()
	for i := range out {
		out[i].Notes = append(out[i].Notes, rec.trace.Notes...)
	}
	return out, nil
}

// resolve turns a trace's times into instants and sets Start and At.
func (r *csvReader) resolve(t *csvTrace, absurd *tally) *Error {
	r.dropAbsurd(t, absurd)
	if len(t.times) > 0 && (r.times.form == wallForm || r.times.form == clockForm) {
		if err := r.resolveZone(t); err != nil {
			return err
		}
		r.dropAbsurd(t, absurd) // the first midnight of 2000 may be in 1999 by UTC
	}
	if len(t.times) == 0 {
		t.trace.Samples = nil
		return nil
	}
	if r.times.number && r.times.form == elapsedForm && len(t.times) >= 100 {
		if span := slices.Max(t.times) - slices.Min(t.times); span < int64(len(t.times))*int64(time.Millisecond) {
			return problem(ErrTime, atLine(int(t.lines[0])), fmt.Sprintf("%d times within %s", len(t.times), time.Duration(span)),
				"If they are fractions of a day, format the column as clock times before saving as CSV")
		}
	}
	start := t.times[0]
	t.trace.Start = time.Unix(0, start).UTC()
	for i, at := range t.times {
		t.trace.Samples[i].At = time.Duration(at - start)
	}
	return nil
}

// dropAbsurd leaves out samples whose time no session can have.
func (r *csvReader) dropAbsurd(t *csvTrace, absurd *tally) {
	low, high := minTime.UnixNano(), maxTime.UnixNano()
	if !slices.ContainsFunc(t.times, func(at int64) bool { return at < low || at >= high }) {
		return
	}
	n := 0
	for i, at := range t.times {
		if at < low || at >= high {
			absurd.add(func() string { return atLine(int(t.lines[i])) })
			continue
		}
		t.times[n], t.lines[n], t.trace.Samples[n] = at, t.lines[i], t.trace.Samples[i]
		n++
	}
	t.times, t.lines, t.trace.Samples = t.times[:n], t.lines[:n], t.trace.Samples[:n]
}

func (r *csvReader) resolveZone(t *csvTrace) *Error {
	w := wallClock{zone: r.times.zone()}
	twice, gap := w.resolve(t.times)
	if gap >= 0 {
		return w.gapError(t.times[gap], int(t.lines[gap]))
	}
	if twice > 0 {
		noteClock(&t.trace, "%s in the hour that %s has twice when summer time ends, read so that time runs on", count(twice, "clock time"), w.zone)
	}
	if r.opt.Zone == nil {
		noteClock(&t.trace, "clock times were read as UTC, for want of a zone")
	}
	return nil
}

// scaleSpeed brings speeds to m/s. Without a unit in the heading the values
// tell: no runner passes 12.5 m/s, nor moves at 5 m/s for half a session.
func (r *csvReader) scaleSpeed(t *schemas.Trace) {
	if r.speed < 0 {
		return
	}
	factor := float32(1)
	switch h := r.headings[r.speed]; h.unit {
	case "m/s":
	case "km/h":
		factor = 1 / 3.6
	case "mph":
		factor = 0.44704
	case "m/min":
		factor = 1.0 / 60
	default:
		moving, fast, fastest := 0, 0, float32(0)
		for i := range t.Samples {
			if s := &t.Samples[i]; s.Have&schemas.HasSpeed != 0 && s.Speed > 0.5 {
				moving++
				if s.Speed > 5 {
					fast++
				}
				fastest = max(fastest, s.Speed)
			}
		}
		unit := "m/s"
		if fastest > 12.5 || moving > 0 && fast >= moving-moving/2 {
			unit, factor = "km/h", 1/3.6
		}
		t.Notes = append(t.Notes, fmt.Sprintf("the column %s has no unit; by its values it was read as %s", quoted(h.text), unit))
	}
	if factor == 1 {
		return
	}
	for i := range t.Samples {
		t.Samples[i].Speed *= factor
	}
}

// scaleCadence brings cadence to steps a minute. Without a unit the values
// tell: nobody runs at fewer than 120 steps a minute for half a session.
func (r *csvReader) scaleCadence(t *schemas.Trace) {
	if r.cadence < 0 {
		return
	}
	double := false
	switch h := r.headings[r.cadence]; h.unit {
	case "spm":
	case "rpm":
		double = true
	default:
		moving, slow := 0, 0
		for i := range t.Samples {
			if s := &t.Samples[i]; s.Have&schemas.HasCadence != 0 && s.Cadence > 40 {
				moving++
				if s.Cadence < 120 {
					slow++
				}
			}
		}
		if double = slow > moving/2; double {
			t.Notes = append(t.Notes, fmt.Sprintf("the column %s has no unit; by its values it counts one foot and was doubled", quoted(h.text)))
		}
	}
	if !double {
		return
	}
	for i := range t.Samples {
		t.Samples[i].Cadence *= 2
	}
}
