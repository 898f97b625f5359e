package formats

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"github.com/muktihari/fit/profile/basetype"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/proto"

	"canter.example/schemas"
)

// finish makes the trace, when all sequences were read. damage is what was
// wrong with the file.
func (c *fitCollector) finish(damage schemas.Damage) (schemas.Trace, *Error) {
	c.strap.merge(&c.recorder)
	t := &c.trace
	if len(t.Samples) == 0 {
		if damage.Kind != schemas.Sound {
			return schemas.Trace{}, problem(ErrDamaged, "", damage.What+"; no sample is left", "Export the session again")
		}
		what := "no samples in this FIT file"
		if c.fileType != typedef.FileInvalid && c.fileType != typedef.FileActivity {
			what = fmt.Sprintf("a FIT file of type %s holds no samples", c.fileType)
		}
		return schemas.Trace{}, c.emptyError(what)
	}
	c.endCadence()
	c.endLaps()
	t.RR = c.rr.since(c.start)
	c.noteTallies()
	c.damage(damage)
	return *t, nil
}

// endLaps sets laps relative to the start. What ends the last lap is the stop
// of the recording, whatever the device calls it.
func (c *fitCollector) endLaps() {
	last := -1
	for i := range c.laps {
		if last < 0 || c.laps[i].end >= c.laps[last].end {
			last = i
		}
	}
	for i, l := range c.laps {
		c.trace.Laps = append(c.trace.Laps, schemas.Lap{
			Start:  time.Duration(l.start - c.start),
			End:    time.Duration(l.end - c.start),
			Manual: l.manual && i != last,
		})
	}
}

// hasSteps reports whether a sport's cadence counts steps. Sports not listed
// are team sports, gym and running in all its forms.
func hasSteps(s typedef.Sport) bool {
	switch s {
	case typedef.SportCycling, typedef.SportEBiking, typedef.SportSwimming, typedef.SportRowing,
		typedef.SportPaddling, typedef.SportKayaking, typedef.SportMotorcycling,
		typedef.SportStandUpPaddleboarding, typedef.SportRafting, typedef.SportInlineSkating,
		typedef.SportWheelchairPushWalk, typedef.SportWheelchairPushRun:
		return false
	default:
		return true
	}
}

// endCadence takes back the cadence of samples recorded in a sport without
// steps: turns of a crank are no steps a minute.
func (c *fitCollector) endCadence() {
	if len(c.sessions) == 0 {
		c.sessions = append(c.sessions, fitSession{sport: c.sport})
	}
	slices.SortStableFunc(c.sessions, func(a, b fitSession) int { return cmp.Compare(a.start, b.start) })
	all := true
	for _, s := range c.sessions {
		all = all && hasSteps(s.sport)
	}
	if all {
		return
	}
	for i := range c.trace.Samples {
		s := &c.trace.Samples[i]
		at := c.start + int64(s.At)
		k := 0
		for k+1 < len(c.sessions) && c.sessions[k+1].start <= at {
			k++
		}
		if !hasSteps(c.sessions[k].sport) {
			s.Cadence = 0
			s.Have &^= schemas.HasCadence
		}
	}
}

// rrClock gives times to beat intervals, which FIT stores without: they run on
// from beat to beat, and back to the records whenever they have drifted more
// than rrDrift from the last one, as after a lost beat.
type rrClock struct {
	cursor   int64 // Unix nanoseconds of the last beat
	last     int64 // of the last record, 0 before the first
	pending  int   // intervals that came before any record
	anchored bool
	beats    []schemas.RR // At is Unix nanoseconds until since
}

const rrDrift = int64(3 * time.Second)

// fewBeats is the least room that is made for intervals: ten minutes of them.
const fewBeats = 1024

func (k *rrClock) record(at int64) {
	k.last = at
	if k.pending > 0 {
		// Let the last of the beats so far close at the first record.
		shift := at - k.cursor
		for i := range k.beats[:k.pending] {
			k.beats[i].At += time.Duration(shift)
		}
		k.cursor, k.pending = at, 0
	}
}

// anchor says that the next interval begins at this time.
func (k *rrClock) anchor(at int64) {
	k.cursor, k.anchored = at, true
}

func (k *rrClock) beat(interval time.Duration) {
	k.cursor += int64(interval)
	switch {
	case k.anchored:
	case k.last == 0:
		k.pending++
	case k.cursor-k.last > rrDrift || k.last-k.cursor > rrDrift:
		k.cursor = k.last
	}
	if k.beats == nil {
		k.beats = roomForIntervals(fewBeats)
	}
	k.beats = append(k.beats, schemas.RR{At: time.Duration(k.cursor), Interval: interval})
}

// since returns the intervals, with times relative to start from then on. Without
// one record they have no time, and there are none.
func (k *rrClock) since(start int64) []schemas.RR {
	if k.pending > 0 || len(k.beats) == 0 {
		return nil
	}
	for i := range k.beats {
		k.beats[i].At -= time.Duration(start)
	}
	return k.beats
}

// strapReadings are heart rates that a strap kept by itself and the watch
// stored apart from its records, as `hr` messages: after swimming, say.
type strapReadings struct {
	list []strapReading
	// The strap's clock, in 1/1024 s, and the time at one of its ticks.
	tick     int64
	anchor   int64 // Unix nanoseconds at anchorTick
	anchorAt int64
	anchored bool
}

type strapReading struct {
	at  int64
	bpm uint8
}

// message takes one hr message; false when the limit on samples is reached.
func (s *strapReadings) message(m *proto.Message, b *budget) bool {
	bpm := m.FieldValueByNum(fieldnum.HrFilteredBpm).SliceUint8()
	ticks := m.FieldValueByNum(fieldnum.HrEventTimestamp).SliceUint32()
	if at, ok := fitTime(m.FieldValueByNum(fieldnum.HrTimestamp).Uint32()); ok && len(ticks) > 0 {
		if f := m.FieldValueByNum(fieldnum.HrFractionalTimestamp).Uint16(); f != basetype.Uint16Invalid {
			at += int64(f) * int64(time.Second) / 32768
		}
		s.anchor, s.anchorAt, s.anchored = at, int64(ticks[0]), true
	}
	keep := func(i int) bool {
		if !s.anchored || i >= len(bpm) || reading(float64(bpm[i])) == 0 {
			return true
		}
		at := s.anchor + (s.tick-s.anchorAt)*int64(time.Second)/1024
		s.list = append(s.list, strapReading{at, bpm[i]})
		return b.takeSample()
	}
	for i, t := range ticks {
		s.tick = int64(t)
		if !keep(i) {
			return false
		}
	}
	packed := m.FieldValueByNum(fieldnum.HrEventTimestamp12).SliceUint8()
	for i := 0; i*3+1 < len(packed)*2 && i < len(bpm); i++ {
		// Twelve bits each, low bits first: what the clock has moved on to.
		s.tick += (packed12(packed, i) - s.tick) & 0xfff
		if !keep(i) {
			return false
		}
	}
	return true
}

func packed12(b []byte, i int) int64 {
	j := i * 3 / 2
	v := int64(b[j])
	if j+1 < len(b) {
		v |= int64(b[j+1]) << 8
	}
	if i%2 == 1 {
		return v >> 4
	}
	return v & 0xfff
}

const (
	// A record takes the mean of the strap's readings in the second before it,
	// and failing that the last one if it is no older than strapHold.
	strapWindow = int64(time.Second)
	strapHold   = int64(2 * time.Second)
)

// merge gives the records without heart rate the strap's readings. Without any
// record the readings themselves are the samples.
func (s *strapReadings) merge(r *recorder) {
	if len(s.list) == 0 {
		return
	}
	slices.SortStableFunc(s.list, func(a, b strapReading) int { return cmp.Compare(a.at, b.at) })
	if len(r.trace.Samples) == 0 {
		r.begin(s.list[0].at)
		for _, v := range s.list {
			r.trace.Samples = append(r.trace.Samples, schemas.Sample{At: time.Duration(v.at - r.start), HR: float32(v.bpm)})
		}
		r.note("the file has no records; the samples are the strap's own %d readings", len(s.list))
		return
	}
	filled := 0
	for i := range r.trace.Samples {
		p := &r.trace.Samples[i]
		if p.HR > 0 {
			continue
		}
		if hr, ok := s.around(r.start + int64(p.At)); ok {
			p.HR = hr
			filled++
		}
	}
	r.note("the heart rate of %s comes from %s that the strap stored apart", count(filled, "record"), count(len(s.list), "reading"))
}

// around returns the heart rate at a time, rounded to whole bpm as devices do.
func (s *strapReadings) around(at int64) (float32, bool) {
	after := sort.Search(len(s.list), func(i int) bool { return s.list[i].at > at })
	sum, n := 0, 0
	for i := after - 1; i >= 0 && s.list[i].at > at-strapWindow; i-- {
		sum += int(s.list[i].bpm)
		n++
	}
	switch {
	case n > 0:
		return float32(math.Round(float64(sum) / float64(n))), true
	case after > 0 && at-s.list[after-1].at <= strapHold:
		return float32(s.list[after-1].bpm), true
	}
	return 0, false
}
