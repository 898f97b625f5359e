package formats

import (
	"github.com/muktihari/fit/profile/factory"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/profile/untyped/mesgnum"
	"github.com/muktihari/fit/proto"
)

// wantedFields lists, by message, the fields of the standard profile that a
// trace is made of. All others are passed over, whatever they hold.
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

// fieldTable holds the field of each number in one message, nil for those that
// are not read.
type fieldTable [256]*proto.FieldBase

const lastWanted = mesgnum.BeatIntervals

// fieldTables by message number; nil for messages that are not read.
var fieldTables = func() (tables [lastWanted + 1]*fieldTable) {
	std := factory.StandardFactory()
	for mesg, nums := range wantedFields {
		t := new(fieldTable)
		for _, num := range nums {
			t[num] = std.CreateField(mesg, num).FieldBase
		}
		tables[mesg] = t
	}
	return tables
}()
