package formats

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"canter.example/schemas"
)

const (
	// sessionGap parts one session of a file from the next. Nobody trains
	// without a sample for so long, and a scorer must not fill such a gap.
	sessionGap = 6 * time.Hour
	// strayRun is the fewest samples that make a session of their own; fewer,
	// hours away from all others, are a damaged or unset clock.
	strayRun = 10
	// maxRuns of one trace; more is a clock that jumps about.
	maxRuns = 64
)

// recorder collects the samples of one trace in file order.
type recorder struct {
	b     *budget
	trace schemas.Trace
	// start is the Unix time of trace.Start in nanoseconds, valid when begun.
	start int64
	begun bool
	// Samples left out for want of a time, for an absurd time, and values that are no number.
	noTime, absurd, notNumber tally
}

// begin fixes the instant of At == 0.
func (r *recorder) begin(unixNano int64) {
	if !r.begun {
		r.begun = true
		r.start = unixNano
		r.trace.Start = time.Unix(0, unixNano).UTC()
	}
}

// add keeps a sample taken at the given Unix time in nanoseconds; false when
// the limit is reached.
func (r *recorder) add(unixNano int64, s schemas.Sample) bool {
	if !r.b.takeSample() {
		return false
	}
	r.begin(unixNano)
	s.At = time.Duration(unixNano - r.start)
	r.trace.Samples = append(r.trace.Samples, s)
	return true
}

// damagedNote begins the note that goes with a damaged trace.
const damagedNote = "damaged: "

func endsEarly(format string, args ...any) schemas.Damage {
	return schemas.Damage{Kind: schemas.EndsEarly, What: fmt.Sprintf(format, args...)}
}

func altered(format string, args ...any) schemas.Damage {
	return schemas.Damage{Kind: schemas.Altered, What: fmt.Sprintf(format, args...)}
}

// damage marks the trace as read from a damaged file.
func (r *recorder) damage(d schemas.Damage) {
	if d.Kind == schemas.Sound {
		return
	}
	d.What += "; " + count(len(r.trace.Samples), "sample") + " read"
	r.trace.Damage = d
	r.note(damagedNote+"%s", d.What)
}

// noteClock notes what had to be decided about the device's clock.
func noteClock(t *schemas.Trace, format string, args ...any) {
	note := fmt.Sprintf(format, args...)
	t.Notes = append(t.Notes, note)
	if t.Clock == "" {
		t.Clock = note
	}
}

func (r *recorder) note(format string, args ...any) {
	r.trace.Notes = append(r.trace.Notes, fmt.Sprintf(format, args...))
}

// noteTallies puts what was counted into notes.
func (r *recorder) noteTallies() {
	if r.noTime.n > 0 {
		r.note("%s without a time left out, the first at %s", count(r.noTime.n, "sample"), r.noTime.first)
	}
	if r.absurd.n > 0 {
		noteClock(&r.trace, "%s with a time outside 2000 to 2099 left out, the first at %s: is the device's clock set?", count(r.absurd.n, "sample"), r.absurd.first)
	}
	if r.notNumber.n > 0 {
		r.note("%s that cannot be read as a number taken as no reading, the first at %s", count(r.notNumber.n, "value"), r.notNumber.first)
	}
}

// emptyError says why a trace has no samples.
func (r *recorder) emptyError(what string) *Error {
	switch {
	case r.absurd.n > 0:
		return problem(ErrTime, r.absurd.first, fmt.Sprintf("no sample has a time within 2000 to 2099 (%d do not)", r.absurd.n),
			"Set the device's clock, or correct the dates in the file")
	case r.noTime.n > 0:
		return problem(ErrTime, r.noTime.first, count(r.noTime.n, "sample")+", none with a time",
			"Export the session with times")
	}
	return problem(ErrNoSamples, "", what, "Export the recording of the session itself")
}

// finish applies what holds for all formats: sessions far apart become traces
// of their own, parts are unique, and somewhere there is a heart rate.
func finish(format string, traces []schemas.Trace, err *Error, b *budget) ([]schemas.Trace, string, *Error) {
	if err != nil {
		return nil, format, err
	}
	out := make([]schemas.Trace, 0, len(traces))
	samples, readings := 0, 0
	for i := range traces {
		parts, err := splitSessions(traces[i])
		if err != nil {
			return nil, format, err
		}
		out = append(out, parts...)
	}
	if len(out) > b.Traces {
		return nil, format, tooManyTraces(b)
	}
	for i := range out {
		n := countReadings(out[i].Samples)
		if n == 0 {
			out[i].Notes = append(out[i].Notes, "not one sample has a heart rate: was the strap worn and paired?")
		}
		samples += len(out[i].Samples)
		readings += n
	}
	if readings == 0 {
		what := count(samples, "sample") + ", none with a heart rate"
		if i := slices.IndexFunc(out[0].Notes, func(n string) bool { return strings.HasPrefix(n, damagedNote) }); i >= 0 {
			what += "; " + out[0].Notes[i]
		}
		return nil, format, problem(ErrNoHeartRate, "", what,
			"See that the strap is worn and paired with the recording device")
	}
	uniqueParts(out)
	return out, format, nil
}

func tooManyTraces(b *budget) *Error {
	return problem(ErrTooMany, "", fmt.Sprintf("more than %d athletes or sessions", b.Traces),
		"Split the export, one file a session")
}

func countReadings(samples []schemas.Sample) int {
	n := 0
	for i := range samples {
		if samples[i].HR > 0 {
			n++
		}
	}
	return n
}

// uniqueParts makes every Part differ from the others, by their order.
func uniqueParts(traces []schemas.Trace) {
	if len(traces) < 2 {
		return
	}
	seen := make(map[string]bool, len(traces))
	for i := range traces {
		part := traces[i].Part
		for n := 2; seen[part]; n++ {
			part = fmt.Sprintf("%s#%d", traces[i].Part, n)
		}
		seen[part] = true
		traces[i].Part = part
	}
}

// splitSessions returns the trace as it is when its samples lie together, and
// else one trace a session. A few stray samples far away from the rest, as a
// damaged time makes, are left out with a note.
func splitSessions(t schemas.Trace) ([]schemas.Trace, *Error) {
	if len(t.Samples) == 0 || spanOf(t.Samples) <= sessionGap {
		return []schemas.Trace{t}, nil
	}
	runs, err := runsOf(t.Samples)
	if err != nil {
		return nil, err
	}
	if len(runs) == 1 {
		return []schemas.Trace{t}, nil
	}
	largest := 0
	for _, r := range runs {
		largest = max(largest, len(r))
	}
	kept, strays := runs[:0], 0
	for _, r := range runs {
		if len(r) < strayRun && len(r) < largest {
			strays += len(r)
			continue
		}
		kept = append(kept, r)
	}
	out := make([]schemas.Trace, 0, len(kept))
	for i, r := range kept {
		s := sessionOf(&t, r)
		if strays > 0 {
			s.Notes = append(s.Notes, count(strays, "sample")+" more than 6 h away from the others left out")
		}
		if len(kept) > 1 {
			s.Part = fmt.Sprintf("%s#%d", t.Part, i+1)
			s.Notes = append(s.Notes, fmt.Sprintf("session %d of the %d in the file", i+1, len(kept)))
		}
		out = append(out, s)
	}
	return out, nil
}

func spanOf(samples []schemas.Sample) time.Duration {
	lo, hi := samples[0].At, samples[0].At
	for i := range samples {
		lo, hi = min(lo, samples[i].At), max(hi, samples[i].At)
	}
	return hi - lo
}

// runsOf groups samples, in file order within each group, so that each lies
// within sessionGap of the one before it in its group.
func runsOf(samples []schemas.Sample) ([][]schemas.Sample, *Error) {
	var runs [][]schemas.Sample
	current := -1
	near := func(r int, at time.Duration) bool {
		run := runs[r]
		return (at - run[len(run)-1].At).Abs() <= sessionGap
	}
	for _, s := range samples {
		if current < 0 || !near(current, s.At) {
			current = len(runs)
			for r := range runs {
				if near(r, s.At) {
					current = r
					break
				}
			}
			if current == len(runs) {
				if len(runs) == maxRuns {
					return nil, problem(ErrTime, "", fmt.Sprintf("times jump by more than 6 h more than %d times", maxRuns),
						"Correct the device's clock, or split the file")
				}
				runs = append(runs, nil)
			}
		}
		runs[current] = append(runs[current], s)
	}
	return runs, nil
}

// sessionOf returns the trace of one run of t's samples with its own Start,
// and the laps and intervals that lie in it.
func sessionOf(t *schemas.Trace, run []schemas.Sample) schemas.Trace {
	s := *t
	shift := run[0].At
	lo, hi := shift, shift
	s.Samples = make([]schemas.Sample, len(run))
	for i := range run {
		lo, hi = min(lo, run[i].At), max(hi, run[i].At)
		s.Samples[i] = run[i]
		s.Samples[i].At -= shift
	}
	s.Start = t.Start.Add(shift)
	s.Laps, s.RR, s.Notes = nil, nil, append([]string(nil), t.Notes...)
	for _, l := range t.Laps {
		if l.End >= lo && l.Start <= hi {
			l.Start -= shift
			l.End -= shift
			s.Laps = append(s.Laps, l)
		}
	}
	for _, r := range t.RR {
		if r.At >= lo && r.At <= hi {
			r.At -= shift
			s.RR = append(s.RR, r)
		}
	}
	return s
}
