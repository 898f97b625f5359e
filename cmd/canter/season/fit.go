package season

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/muktihari/fit/encoder"
	"github.com/muktihari/fit/kit/datetime"
	"github.com/muktihari/fit/profile/factory"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/profile/untyped/mesgnum"
	"github.com/muktihari/fit/proto"
)

// fitFile writes an activity: who recorded it, the readings, the laps, the
// session. Maker and product are the profile's numbers for development.
func fitFile(p *person, rec *recording) ([]byte, error) {
	product := uint16(2)
	if p.device == fitSmart {
		product = 3
	}
	id := mesgdef.NewFileId(nil).SetType(typedef.FileActivity).
		SetManufacturer(typedef.ManufacturerDevelopment).SetProduct(product).
		SetSerialNumber(p.watch).SetTimeCreated(rec.start).SetProductName(watchName)
	watch := mesgdef.NewDeviceInfo(nil).SetTimestamp(rec.start).SetDeviceIndex(typedef.DeviceIndexCreator).
		SetManufacturer(typedef.ManufacturerDevelopment).SetProduct(product).SetSerialNumber(p.watch).
		SetSourceType(typedef.SourceTypeLocal).SetSoftwareVersionScaled(4.1).SetProductName(watchName)
	strap := mesgdef.NewDeviceInfo(nil).SetTimestamp(rec.start).SetDeviceIndex(1).
		SetManufacturer(typedef.ManufacturerDevelopment).SetProduct(7).SetSerialNumber(serialNumber(rec.strap)).
		SetSourceType(typedef.SourceTypeAntplus).SetDeviceType(uint8(typedef.AntplusDeviceTypeHeartRate)).
		SetProductName(strapName).SetBatteryStatus(typedef.BatteryStatusGood)

	mesgs := make([]proto.Message, 0, len(rec.samples)+16)
	mesgs = append(mesgs, id.ToMesg(nil), watch.ToMesg(nil), strap.ToMesg(nil),
		timerEvent(rec.start, typedef.EventTypeStart))
	mesgs = fitRecords(mesgs, p, rec)
	end := rec.at(rec.seconds())
	mesgs = append(mesgs, timerEvent(end, typedef.EventTypeStopAll))
	laps := fitLapsOf(rec)
	for i := range laps {
		mesgs = append(mesgs, laps[i].ToMesg(nil))
	}
	mesgs = append(mesgs, fitSession(rec, len(laps)).ToMesg(nil), fitActivity(rec).ToMesg(nil))

	w := &seekBuffer{b: make([]byte, 0, 14*len(rec.samples)+2048)}
	// Four local message types: a record with and one without heart rate, and
	// beats, keep their definitions.
	enc := encoder.New(w, encoder.WithHeaderOption(encoder.HeaderOptionNormal, 3))
	if err := enc.Encode(&proto.FIT{Messages: mesgs}); err != nil {
		return nil, fmt.Errorf("encode FIT: %w", err)
	}
	return w.b, nil
}

func serialNumber(s string) uint32 {
	n := uint32(0)
	for _, c := range s {
		n = 10*n + uint32(c-'0')
	}
	return n
}

func timerEvent(at time.Time, t typedef.EventType) proto.Message {
	return mesgdef.NewEvent(nil).SetTimestamp(at).SetEvent(typedef.EventTimer).SetEventType(t).SetEventGroup(0).ToMesg(nil)
}

// fitRecords appends the readings. They are made by hand, as going through
// the library's structs costs more than all the rest of a season.
func fitRecords(mesgs []proto.Message, p *person, rec *recording) []proto.Message {
	field := func(num byte) proto.Field { return factory.CreateField(mesgnum.Record, num) }
	stamp, rate := field(fieldnum.RecordTimestamp), field(fieldnum.RecordHeartRate)
	speed, distance, cadence := field(fieldnum.RecordEnhancedSpeed), field(fieldnum.RecordDistance), field(fieldnum.RecordCadence)
	old := p.index%2 == 0 // older recorders store speed in two bytes
	if old {
		speed = field(fieldnum.RecordSpeed)
	}
	store := make([]proto.Field, 0, 5*len(rec.samples))
	start := datetime.ToUint32(rec.start)
	beat, elapsed := 0, 0.0
	for i := range rec.samples {
		s := &rec.samples[i]
		from := len(store)
		stamp.Value = proto.Uint32(start + uint32(s.sec))
		store = append(store, stamp)
		if s.hr != 0 {
			rate.Value = proto.Uint8(s.hr)
			store = append(store, rate)
		}
		mm := math.Round(1000 * s.speed)
		if old {
			speed.Value = proto.Uint16(uint16(mm))
		} else {
			speed.Value = proto.Uint32(uint32(mm))
		}
		distance.Value = proto.Uint32(uint32(math.Round(100 * s.far)))
		cadence.Value = proto.Uint8(uint8(math.Round(s.steps / 2))) // strides
		store = append(store, speed, distance, cadence)
		mesgs = append(mesgs, proto.Message{Num: mesgnum.Record, Fields: store[from:len(store):len(store)]})
		var now []uint16
		for beat < len(rec.beats) && elapsed+rec.beats[beat] <= float64(s.sec+1) {
			elapsed += rec.beats[beat]
			now = append(now, uint16(math.Round(1000*rec.beats[beat])))
			beat++
		}
		if len(now) > 0 {
			hrv := factory.CreateField(mesgnum.Hrv, fieldnum.HrvTime)
			hrv.Value = proto.SliceUint16(now)
			mesgs = append(mesgs, proto.Message{Num: mesgnum.Hrv, Fields: []proto.Field{hrv}})
		}
	}
	return mesgs
}

// lap is a stretch of a recording, in seconds from its start, and what ended it.
type lap struct {
	from, to int
	meters   float64
	by       typedef.LapTrigger
}

// laps cuts a recording at the button's marks, or else at each kilometre.
func (r *recording) laps() []lap {
	var out []lap
	from, far := 0, 0.0
	cut := func(to int, at float64, by typedef.LapTrigger) {
		out = append(out, lap{from: from, to: to, meters: at - far, by: by})
		from, far = to, at
	}
	marks := r.marks
	for i := range r.samples {
		s := &r.samples[i]
		switch {
		case len(marks) > 0 && s.sec >= marks[0]:
			cut(marks[0], s.far, typedef.LapTriggerManual)
			marks = marks[1:]
		case len(r.marks) == 0 && s.far-far >= 1000:
			cut(s.sec, s.far, typedef.LapTriggerDistance)
		}
	}
	cut(r.seconds(), r.samples[len(r.samples)-1].far, typedef.LapTriggerSessionEnd)
	return out
}

func fitLapsOf(rec *recording) []*mesgdef.Lap {
	laps := rec.laps()
	out := make([]*mesgdef.Lap, 0, len(laps))
	for i, l := range laps {
		ms := uint32(1000 * (l.to - l.from))
		out = append(out, mesgdef.NewLap(nil).SetMessageIndex(typedef.MessageIndex(i)).
			SetTimestamp(rec.at(l.to)).SetStartTime(rec.at(l.from)).
			SetEvent(typedef.EventLap).SetEventType(typedef.EventTypeStop).SetLapTrigger(l.by).
			SetTotalElapsedTime(ms).SetTotalTimerTime(ms).
			SetTotalDistance(uint32(math.Round(100*l.meters))).SetSport(typedef.SportRunning))
	}
	return out
}

func fitSession(rec *recording, laps int) *mesgdef.Session {
	sum, n, top := 0, 0, uint8(0)
	for i := range rec.samples {
		if hr := rec.samples[i].hr; hr != 0 {
			sum, n, top = sum+int(hr), n+1, max(top, hr)
		}
	}
	ms := uint32(1000 * rec.seconds())
	return mesgdef.NewSession(nil).SetMessageIndex(0).
		SetTimestamp(rec.at(rec.seconds())).SetStartTime(rec.start).
		SetEvent(typedef.EventSession).SetEventType(typedef.EventTypeStop).SetTrigger(typedef.SessionTriggerActivityEnd).
		SetSport(typedef.SportRunning).SetSubSport(typedef.SubSportGeneric).
		SetTotalElapsedTime(ms).SetTotalTimerTime(ms).
		SetTotalDistance(uint32(math.Round(100 * rec.samples[len(rec.samples)-1].far))).
		SetAvgHeartRate(uint8(sum / max(n, 1))).SetMaxHeartRate(top).
		SetFirstLapIndex(0).SetNumLaps(uint16(laps))
}

func fitActivity(rec *recording) *mesgdef.Activity {
	return mesgdef.NewActivity(nil).SetTimestamp(rec.at(rec.seconds())).
		SetTotalTimerTime(uint32(1000 * rec.seconds())).SetNumSessions(1).SetType(typedef.ActivityManual).
		SetEvent(typedef.EventActivity).SetEventType(typedef.EventTypeStop)
}

// cutBeforeTest returns the part of a FIT file that a copy had written when
// it broke off: up to two thirds of the way to the test.
func cutBeforeTest(content []byte, rec *recording) []byte {
	return content[:len(content)*rec.begin*2/3/rec.seconds()]
}

// seekBuffer is a file in memory: the encoder goes back to fill in the size.
type seekBuffer struct {
	b  []byte
	at int
}

func (w *seekBuffer) Write(p []byte) (int, error) {
	if need := w.at + len(p); need > len(w.b) {
		w.b = append(w.b, make([]byte, need-len(w.b))...)
	}
	copy(w.b[w.at:], p)
	w.at += len(p)
	return len(p), nil
}

var errSeek = errors.New("seek outside the buffer")

func (w *seekBuffer) Seek(offset int64, whence int) (int64, error) {
	switch whence {
	case io.SeekStart:
	case io.SeekCurrent:
		offset += int64(w.at)
	case io.SeekEnd:
		offset += int64(len(w.b))
	}
	if offset < 0 || offset > int64(len(w.b)) {
		return 0, errSeek
	}
	w.at = int(offset)
	return offset, nil
}
