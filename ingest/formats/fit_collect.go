package formats

import (
	"slices"
	"strconv"
	"time"

	"github.com/muktihari/fit/profile/basetype"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/profile/untyped/mesgnum"
	"github.com/muktihari/fit/proto"

	"canter.example/schemas"
)

const (
	// fitEpoch is 1989-12-31T00:00:00Z, the zero of FIT times, in Unix seconds.
	fitEpoch = 631065600
	// maxSerials a file may name; real ones name a handful.
	maxSerials = 64
)

// fitCollector takes messages and makes a trace of them. They are used again, so
// that everything kept is copied.
type fitCollector struct {
	recorder
	// stopped is why no more is taken, nil while it is.
	stopped *Error
	// base is the offset of the present sequence in the file.
	base     int64
	fileType typedef.File
	size     int // bytes of the file
	records  int
	sessions []fitSession
	// sport as last named outside a session message.
	sport typedef.Sport
	laps  []fitLap
	rr    rrClock
	strap strapReadings
}

type fitSession struct {
	start int64 // Unix nanoseconds
	sport typedef.Sport
}

type fitLap struct {
	start, end int64 // Unix nanoseconds
	manual     bool
}

func (c *fitCollector) reset(b *budget, size int) {
	*c = fitCollector{fileType: typedef.FileInvalid, sport: typedef.SportInvalid, size: size}
	c.b = b
}

func (c *fitCollector) stop(err *Error) {
	if c.stopped == nil {
		c.stopped = err
	}
}

// room makes room for the records that the first definition of one, of so many
// bytes each, lets expect.
func (c *fitCollector) room(size int) {
	if c.trace.Samples == nil {
		c.trace.Samples = roomForSamples(min(c.size/size, c.b.samples) + 1)
	}
}

// message takes one message that is no record.
func (c *fitCollector) message(m *proto.Message) {
	switch m.Num {
	case mesgnum.Hr:
		if !c.strap.message(m, c.b) {
			c.stop(c.b.samplesError(""))
		}
	case mesgnum.BeatIntervals:
		c.beatIntervals(m)
	case mesgnum.Lap:
		c.lap(m)
	case mesgnum.Session:
		c.session(m)
	case mesgnum.Sport:
		c.sport = typedef.Sport(m.FieldValueByNum(fieldnum.SportSport).Uint8())
	case mesgnum.DeviceInfo:
		c.deviceInfo(m)
	case mesgnum.FileId:
		c.fileID(m)
	case mesgnum.UserProfile:
		if name := fitString(m.FieldValueByNum(fieldnum.UserProfileFriendlyName)); name != "" {
			c.trace.Label = name
		}
	default: // the other hundred kinds have nothing for a trace
	}
}

// record takes a record message b of the time given: this is the loop that all
// else waits for, so that its fields are read where they lie.
func (c *fitCollector) record(f *fitDefinition, b []byte, timestamp uint32) {
	var (
		hr         = basetype.Uint8Invalid
		cadence    = basetype.Uint8Invalid
		fractional = basetype.Uint8Invalid
		speed      = basetype.Uint32Invalid // mm/s
	)
	for i := range f.fields {
		field := &f.fields[i]
		v := b[field.at : field.at+field.size]
		switch field.num {
		case fieldnum.RecordHeartRate:
			hr = v[0]
		case fieldnum.RecordCadence:
			cadence = v[0]
		case fieldnum.RecordFractionalCadence:
			fractional = v[0]
		case fieldnum.RecordEnhancedSpeed:
			if s := f.number(v, 4); s != basetype.Uint32Invalid {
				speed = s
			}
		case fieldnum.RecordSpeed:
			if s := f.number(v, 2); s != uint32(basetype.Uint16Invalid) && speed == basetype.Uint32Invalid {
				speed = s
			}
		case fieldnum.RecordCompressedSpeedDistance:
			if len(v) >= 2 && speed == basetype.Uint32Invalid {
				if s := uint32(v[0]) | uint32(v[1]&0x0f)<<8; s != 0xfff {
					speed = s * 10 // from cm/s
				}
			}
		}
	}
	c.records++
	seconds := int64(timestamp) + fitEpoch
	if timestamp == basetype.Uint32Invalid || seconds < minUnix || seconds >= maxUnix {
		c.untimed(timestamp)
		return
	}
	var s schemas.Sample
	s.HR = reading(float64(hr))
	if speed != basetype.Uint32Invalid {
		s.Speed = float32(speed) / 1000
		s.Have |= schemas.HasSpeed
	}
	if cadence != basetype.Uint8Invalid {
		// FIT counts strides of one foot; endCadence takes it back for sports without steps.
		s.Cadence = 2 * float32(cadence)
		if fractional != basetype.Uint8Invalid {
			s.Cadence += 2 * float32(fractional) / 128
		}
		s.Have |= schemas.HasCadence
	}
	at := seconds * int64(time.Second)
	c.rr.record(at)
	if !c.add(at, s) {
		c.stop(c.b.samplesError(c.recordPlace()))
	}
}

// untimed counts a record without a time that can be.
func (c *fitCollector) untimed(timestamp uint32) {
	switch {
	case !c.b.takeSample():
		c.stop(c.b.samplesError(c.recordPlace()))
	case timestamp == basetype.Uint32Invalid:
		c.noTime.add(c.recordPlace)
	default:
		c.absurd.add(c.recordPlace)
	}
}

func (c *fitCollector) recordPlace() string { return "record " + strconv.Itoa(c.records) }

// fitTime returns a FIT time in Unix nanoseconds, false when it is unset or absurd.
func fitTime(v uint32) (int64, bool) {
	s := int64(v) + fitEpoch
	return s * int64(time.Second), v != basetype.Uint32Invalid && s >= minUnix && s < maxUnix
}

func (c *fitCollector) lap(m *proto.Message) {
	end, ok := fitTime(m.FieldValueByNum(fieldnum.LapTimestamp).Uint32())
	if !ok || !c.b.takeSample() {
		return
	}
	start, ok := fitTime(m.FieldValueByNum(fieldnum.LapStartTime).Uint32())
	if !ok {
		ms := m.FieldValueByNum(fieldnum.LapTotalElapsedTime).Uint32()
		if ms == basetype.Uint32Invalid {
			return
		}
		start = end - int64(ms)*int64(time.Millisecond)
	}
	trigger := typedef.LapTrigger(m.FieldValueByNum(fieldnum.LapLapTrigger).Uint8())
	c.laps = append(c.laps, fitLap{start: start, end: end, manual: trigger == typedef.LapTriggerManual})
}

func (c *fitCollector) session(m *proto.Message) {
	start, ok := fitTime(m.FieldValueByNum(fieldnum.SessionStartTime).Uint32())
	if ok && len(c.sessions) < maxSerials {
		c.sessions = append(c.sessions, fitSession{start, typedef.Sport(m.FieldValueByNum(fieldnum.SessionSport).Uint8())})
	}
}

// hrv takes an hrv message b. With some recordings there is one each second, so
// that its field is read where it lies.
func (c *fitCollector) hrv(f *fitDefinition, b []byte) {
	if len(f.fields) == 0 { // only its time is read
		return
	}
	field := &f.fields[0]
	for at := field.at; at == field.at || at+2 <= field.at+field.size; at += 2 {
		c.beat(uint16(f.number(b[at:min(at+2, field.at+field.size)], 2)))
	}
}

// beat takes an interval in milliseconds.
func (c *fitCollector) beat(ms uint16) {
	switch {
	case ms == 0 || ms == basetype.Uint16Invalid || c.stopped != nil:
	case !c.b.takeSample():
		c.stop(c.b.samplesError(c.recordPlace()))
	default:
		c.rr.beat(time.Duration(ms) * time.Millisecond)
	}
}

func (c *fitCollector) beatIntervals(m *proto.Message) {
	if at, ok := fitTime(m.FieldValueByNum(fieldnum.BeatIntervalsTimestamp).Uint32()); ok {
		if ms := m.FieldValueByNum(fieldnum.BeatIntervalsTimestampMs).Uint16(); ms != basetype.Uint16Invalid {
			at += int64(ms) * int64(time.Millisecond)
		}
		c.rr.anchor(at)
	}
	for _, ms := range m.FieldValueByNum(fieldnum.BeatIntervalsTime).SliceUint16() {
		c.beat(ms)
	}
}

func (c *fitCollector) fileID(m *proto.Message) {
	if t := typedef.File(m.FieldValueByNum(fieldnum.FileIdType).Uint8()); c.fileType == typedef.FileInvalid {
		c.fileType = t
	}
	c.creator(m, fieldnum.FileIdManufacturer, fieldnum.FileIdProduct, fieldnum.FileIdProductName, fieldnum.FileIdSerialNumber)
}

// creator takes the recording device from file_id or device_info.
func (c *fitCollector) creator(m *proto.Message, manufacturer, product, name, serial byte) {
	d := &c.trace.Device
	if v := m.FieldValueByNum(manufacturer).Uint16(); v != basetype.Uint16Invalid {
		d.Manufacturer = typedef.Manufacturer(v).String()
	}
	if s := fitString(m.FieldValueByNum(name)); s != "" {
		d.Product = s
	} else if v := m.FieldValueByNum(product).Uint16(); v != basetype.Uint16Invalid && d.Product == "" {
		d.Product = strconv.Itoa(int(v))
	}
	c.serial(m.FieldValueByNum(serial).Uint32z())
}

// deviceInfo takes the creator and the heart-rate sensors: their serial, and
// the ANT device number, which is what straps have printed on them.
func (c *fitCollector) deviceInfo(m *proto.Message) {
	kind := m.FieldValueByNum(fieldnum.DeviceInfoDeviceType).Uint8()
	source := typedef.SourceType(m.FieldValueByNum(fieldnum.DeviceInfoSourceType).Uint8())
	switch {
	case m.FieldValueByNum(fieldnum.DeviceInfoDeviceIndex).Uint8() == uint8(typedef.DeviceIndexCreator):
		c.creator(m, fieldnum.DeviceInfoManufacturer, fieldnum.DeviceInfoProduct,
			fieldnum.DeviceInfoProductName, fieldnum.DeviceInfoSerialNumber)
	case source == typedef.SourceTypeBluetoothLowEnergy && kind == uint8(typedef.BleDeviceTypeHeartRate),
		source != typedef.SourceTypeLocal && kind == uint8(typedef.AntplusDeviceTypeHeartRate):
		c.serial(m.FieldValueByNum(fieldnum.DeviceInfoSerialNumber).Uint32z())
		c.serial(uint32(m.FieldValueByNum(fieldnum.DeviceInfoAntDeviceNumber).Uint16z()))
	}
}

func (c *fitCollector) serial(v uint32) {
	if v == 0 || v == basetype.Uint32Invalid {
		return
	}
	c.trace.Device.Serials = addSerial(c.trace.Device.Serials, strconv.FormatUint(uint64(v), 10))
}

// addSerial adds a serial that is not there yet.
func addSerial(serials []string, s string) []string {
	if s == "" || len(serials) >= maxSerials {
		return serials
	}
	if slices.Contains(serials, s) {
		return serials
	}
	return append(serials, s)
}

// fitString returns a text field as a string of its own, "" when unset.
func fitString(v proto.Value) string {
	var s string
	switch v.Type() {
	case proto.TypeString:
		s = v.String()
	case proto.TypeSliceString:
		if list := v.SliceString(); len(list) > 0 {
			s = list[0]
		}
	default:
		return ""
	}
	if s == basetype.StringInvalid {
		return ""
	}
	return cleanText(s)
}
