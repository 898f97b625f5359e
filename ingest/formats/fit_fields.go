package formats

import (
	"github.com/muktihari/fit/profile"
	"github.com/muktihari/fit/profile/basetype"
	"github.com/muktihari/fit/profile/factory"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/profile/untyped/mesgnum"
	"github.com/muktihari/fit/proto"
)

// projection is the decoder's field factory, narrowed to the fields that a
// trace is made of. All others decode to their first byte, whatever their
// type, which saves the arrays and strings that nobody reads, and costs no
// memory however many there are.
type projection struct{}

// skipped stands for every field that is not read.
var skipped = &proto.FieldBase{
	Name: "skipped", Num: basetype.Uint8Invalid, Type: profile.Uint8, BaseType: basetype.Uint8, Scale: 1,
}

// timestampField stands for field 253 of messages that are not read: the
// decoder follows it for compressed timestamps.
var timestampField = &proto.FieldBase{
	Name: "timestamp", Num: proto.FieldNumTimestamp, Type: profile.DateTime, BaseType: basetype.Uint32, Scale: 1,
}

// wantedFields lists, by message, the fields of the standard profile that are read.
var wantedFields = map[typedef.MesgNum][]byte{
	mesgnum.FileId: {fieldnum.FileIdType, fieldnum.FileIdManufacturer, fieldnum.FileIdProduct,
		fieldnum.FileIdSerialNumber, fieldnum.FileIdProductName},
	mesgnum.UserProfile: {fieldnum.UserProfileFriendlyName},
	mesgnum.Sport:       {fieldnum.SportSport},
	mesgnum.Session:     {fieldnum.SessionStartTime, fieldnum.SessionSport},
	mesgnum.Lap:         {fieldnum.LapTimestamp, fieldnum.LapStartTime, fieldnum.LapTotalElapsedTime, fieldnum.LapLapTrigger},
	mesgnum.Record: {fieldnum.RecordTimestamp, fieldnum.RecordHeartRate, fieldnum.RecordCadence,
		fieldnum.RecordFractionalCadence, fieldnum.RecordSpeed, fieldnum.RecordEnhancedSpeed,
		fieldnum.RecordCompressedSpeedDistance},
	mesgnum.DeviceInfo: {fieldnum.DeviceInfoDeviceIndex, fieldnum.DeviceInfoDeviceType,
		fieldnum.DeviceInfoManufacturer, fieldnum.DeviceInfoSerialNumber, fieldnum.DeviceInfoProduct,
		fieldnum.DeviceInfoProductName, fieldnum.DeviceInfoAntDeviceNumber, fieldnum.DeviceInfoSourceType},
	mesgnum.Hrv: {fieldnum.HrvTime},
	mesgnum.BeatIntervals: {fieldnum.BeatIntervalsTimestamp, fieldnum.BeatIntervalsTimestampMs,
		fieldnum.BeatIntervalsTime},
	mesgnum.Hr: {fieldnum.HrTimestamp, fieldnum.HrFractionalTimestamp, fieldnum.HrFilteredBpm,
		fieldnum.HrEventTimestamp, fieldnum.HrEventTimestamp12},
}

// fieldTable holds the field of each number in one message.
type fieldTable [256]*proto.FieldBase

const lastWanted = mesgnum.BeatIntervals

// fieldTables by message number; nil for messages that are not read.
var fieldTables = func() (tables [lastWanted + 1]*fieldTable) {
	std := factory.StandardFactory()
	for mesg, nums := range wantedFields {
		t := new(fieldTable)
		for i := range t {
			t[i] = skipped
		}
		t[proto.FieldNumTimestamp] = timestampField
		for _, num := range nums {
			t[num] = std.CreateField(mesg, num).FieldBase
		}
		tables[mesg] = t
	}
	return tables
}()

// CreateField implements the decoder's Factory.
func (projection) CreateField(mesg typedef.MesgNum, num byte) proto.Field {
	if mesg <= lastWanted {
		if t := fieldTables[mesg]; t != nil {
			return proto.Field{FieldBase: t[num]}
		}
	}
	if num == proto.FieldNumTimestamp {
		return proto.Field{FieldBase: timestampField}
	}
	return proto.Field{FieldBase: skipped}
}
