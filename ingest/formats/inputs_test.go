package formats

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/muktihari/fit/encoder"
	"github.com/muktihari/fit/kit/hash/crc16"
	"github.com/muktihari/fit/profile/factory"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/profile/untyped/mesgnum"
	"github.com/muktihari/fit/proto"
)

// update rewrites the made inputs and the goldens: go test ./ingest/formats -update.
var update = flag.Bool("update", false, "rewrite testdata/formats")

var testdata = filepath.Join("..", "..", "testdata", "formats")

// day is when all made inputs were recorded.
var day = time.Date(2025, 9, 2, 8, 0, 0, 0, time.UTC)

func fitSeconds(t time.Time) uint32 { return uint32(t.Unix() - fitEpoch) }

// message makes a FIT message of field numbers and values.
func message(num typedef.MesgNum, fields ...any) proto.Message {
	m := proto.Message{Num: num}
	for i := 0; i < len(fields); i += 2 {
		m.Fields = append(m.Fields, factory.CreateField(num, byte(fields[i].(int))).WithValue(fields[i+1]))
	}
	return m
}

func record(second int, fields ...any) proto.Message {
	return message(mesgnum.Record, append([]any{fieldnum.RecordTimestamp, fitSeconds(day.Add(time.Duration(second) * time.Second))}, fields...)...)
}

// encodeFIT writes one FIT sequence with the library's encoder.
func encodeFIT(tb testing.TB, messages ...proto.Message) []byte {
	tb.Helper()
	var b bytes.Buffer
	if err := encoder.New(&b).Encode(&proto.FIT{Messages: messages}); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

func fileID() proto.Message {
	return message(mesgnum.FileId, fieldnum.FileIdType, uint8(typedef.FileActivity),
		fieldnum.FileIdManufacturer, uint16(typedef.ManufacturerDevelopment), fieldnum.FileIdSerialNumber, uint32(4711),
		fieldnum.FileIdTimeCreated, fitSeconds(day))
}

// richFIT has one of everything that a trace holds.
func richFIT(tb testing.TB) []byte {
	msgs := []proto.Message{
		fileID(),
		message(mesgnum.UserProfile, fieldnum.UserProfileFriendlyName, "Ada"),
		message(mesgnum.DeviceInfo, fieldnum.DeviceInfoTimestamp, fitSeconds(day), fieldnum.DeviceInfoDeviceIndex, uint8(1),
			fieldnum.DeviceInfoDeviceType, uint8(120), fieldnum.DeviceInfoSerialNumber, uint32(815), fieldnum.DeviceInfoAntDeviceNumber, uint16(77),
			fieldnum.DeviceInfoSourceType, uint8(typedef.SourceTypeAntplus)),
	}
	for i, hr := range []uint8{100, 101, 0, 254, 255, 104, 105, 106} {
		msgs = append(msgs, record(i, fieldnum.RecordHeartRate, hr, fieldnum.RecordCadence, uint8(80), fieldnum.RecordFractionalCadence, uint8(64),
			fieldnum.RecordEnhancedSpeed, uint32(3000+i)))
		if i > 3 {
			msgs = append(msgs, message(mesgnum.Hrv, fieldnum.HrvTime, []uint16{580, 575, 0xffff, 0xffff, 0xffff}))
		}
	}
	msgs = append(msgs, record(7, fieldnum.RecordHeartRate, uint8(107)), record(5, fieldnum.RecordHeartRate, uint8(108)))
	for i, trigger := range []typedef.LapTrigger{typedef.LapTriggerManual, typedef.LapTriggerDistance, typedef.LapTriggerManual} {
		from := day.Add(time.Duration(3*i) * time.Second)
		msgs = append(msgs, message(mesgnum.Lap, fieldnum.LapTimestamp, fitSeconds(from.Add(3*time.Second)),
			fieldnum.LapStartTime, fitSeconds(from), fieldnum.LapLapTrigger, uint8(trigger)))
	}
	msgs = append(msgs, message(mesgnum.Session, fieldnum.SessionTimestamp, fitSeconds(day.Add(9*time.Second)),
		fieldnum.SessionStartTime, fitSeconds(day), fieldnum.SessionSport, uint8(typedef.SportRunning)))
	return encodeFIT(tb, msgs...)
}

func plainFIT(tb testing.TB, seconds int) []byte {
	msgs := []proto.Message{fileID()}
	for i := range seconds {
		msgs = append(msgs, record(i, fieldnum.RecordHeartRate, uint8(100+i%60)))
	}
	return encodeFIT(tb, msgs...)
}

// cyclingFIT is a run and then a ride: the ride's cadence counts no steps.
func cyclingFIT(tb testing.TB) []byte {
	msgs := []proto.Message{fileID()}
	for i := range 4 {
		msgs = append(msgs, record(i, fieldnum.RecordHeartRate, uint8(120+i), fieldnum.RecordCadence, uint8(85)))
	}
	for i, s := range []typedef.Sport{typedef.SportRunning, typedef.SportCycling} {
		msgs = append(msgs, message(mesgnum.Session, fieldnum.SessionTimestamp, fitSeconds(day.Add(4*time.Second)),
			fieldnum.SessionStartTime, fitSeconds(day.Add(time.Duration(2*i)*time.Second)), fieldnum.SessionSport, uint8(s)))
	}
	return encodeFIT(tb, msgs...)
}

// strapFIT holds heart rates apart from the records, the first with a full
// time, the others with the low twelve bits of the strap's clock.
func strapFIT(tb testing.TB) []byte {
	msgs := []proto.Message{fileID()}
	for i := range 6 {
		msgs = append(msgs, record(i, fieldnum.RecordSpeed, uint16(2500)))
	}
	// Readings at 0.5, 1.25, 1.75 and 2.5 s; the clock reads 4000/1024 s at 0.5 s.
	msgs = append(msgs,
		message(mesgnum.Hr, fieldnum.HrTimestamp, fitSeconds(day), fieldnum.HrFractionalTimestamp, uint16(16384),
			fieldnum.HrFilteredBpm, []uint8{100}, fieldnum.HrEventTimestamp, []uint32{4000}),
		message(mesgnum.Hr, fieldnum.HrFilteredBpm, []uint8{110, 120, 130, 0},
			fieldnum.HrEventTimestamp12, pack12((4000+768)&0xfff, (4000+1280)&0xfff, (4000+2048)&0xfff, (4000+2100)&0xfff)))
	return encodeFIT(tb, msgs...)
}

func pack12(v ...uint16) []byte {
	var b []byte
	for i := 0; i+1 < len(v); i += 2 {
		b = append(b, byte(v[i]), byte(v[i]>>8)|byte(v[i+1]<<4), byte(v[i+1]>>4))
	}
	return b
}

func zipOf(tb testing.TB, files ...any) []byte {
	tb.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		f, err := w.Create(files[i].(string))
		if err != nil {
			tb.Fatal(err)
		}
		content, ok := files[i+1].([]byte)
		if !ok {
			content = []byte(files[i+1].(string))
		}
		if _, err := f.Write(content); err != nil {
			tb.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

func repaired(fit []byte, change func([]byte)) []byte {
	b := bytes.Clone(fit)
	change(b)
	h := crc16.New()
	_, _ = h.Write(b[14 : len(b)-2])
	binary.LittleEndian.PutUint16(b[len(b)-2:], h.Sum16())
	return b
}

func changed(b []byte, change func([]byte)) []byte {
	c := bytes.Clone(b)
	change(c)
	return c
}

const csvOf2 = "time,hr\n2025-09-02T08:00:00Z,120\n2025-09-02T08:00:01Z,121\n"

// madeGood are the good inputs that no editor can write.
func madeGood(tb testing.TB) map[string][]byte {
	utf16 := []byte{0xff, 0xfe}
	for _, r := range "Time\tHR\r\n10:00:00\t120\r\n10:00:01\t121\r\n" {
		utf16 = append(utf16, byte(r), 0)
	}
	return map[string][]byte{
		"everything.fit":         richFIT(tb),
		"run_then_ride.fit":      cyclingFIT(tb),
		"strap_stored_apart.fit": strapFIT(tb),
		"chained.fit":            append(plainFIT(tb, 3), plainFIT(tb, 2)...),
		"trailing_bytes.fit":     append(plainFIT(tb, 3), make([]byte, 32)...),
		"utf16_tabs.csv":         utf16,
		"byte_order_mark.csv":    append([]byte{0xef, 0xbb, 0xbf}, "Time;HR\r\n10:00:00;120,5\r\n10:00:01;121\r\n"...),
		"windows1252.csv":        []byte("Zeit;Puls;L\xe4nge\n10:00:00;120;1\n10:00:01;121;2\n"),
		"latin1.tcx":             bytes.ReplaceAll(latinTCX, []byte("ö"), []byte("\xf6")),
		"team.zip":               zipOf(tb, "team/ada.fit", plainFIT(tb, 3), "team/bo.csv", csvOf2, "team/.DS_Store", "x", "readme.txt", "hello", "page.html", "<!DOCTYPE gpx>", "zeros", make([]byte, 2<<20)),
		"same_names.zip":         zipOf(tb, "ada/1.csv", csvOf2, "bo/1.csv", csvOf2),
		"zip_in_zip.zip":         zipOf(tb, "monday.zip", zipOf(tb, "ada.csv", csvOf2), "bo.csv", csvOf2),
		"export_inside.zip":      zipOf(tb, "export.csv", "time,athlete,hr\n2025-09-02T08:00:00Z,Ada,120\n2025-09-02T08:00:00Z,Bo,130\n"),
		"flipped_header_bit.fit": changed(plainFIT(tb, 3), func(b []byte) { b[1] ^= 0x40 }),
		"two_records.fit":        encodeFIT(tb, fileID(), record(0, fieldnum.RecordHeartRate, uint8(90)), record(1, fieldnum.RecordHeartRate, uint8(91))),
	}
}

var latinTCX = []byte(`<?xml version="1.0" encoding="ISO-8859-1"?>
<TrainingCenterDatabase xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2"><Activities><Activity Sport="Running">
<Notes>Jörg</Notes><Lap StartTime="2025-09-02T08:00:00Z"><Track>
<Trackpoint><Time>2025-09-02T08:00:00Z</Time><HeartRateBpm><Value>120</Value></HeartRateBpm></Trackpoint>
</Track></Lap><Creator><Name>Jö 1</Name><UnitId>4711</UnitId></Creator></Activity></Activities></TrainingCenterDatabase>
`)

// madeBad are the bad inputs that no editor can write, or too long to keep.
func madeBad(tb testing.TB) map[string][]byte {
	plain := plainFIT(tb, 30)
	deep := `<gpx>` + strings.Repeat("<a>", 100) + strings.Repeat("</a>", 100) + `</gpx>`
	zeros := make([]byte, 4<<20)
	inner := zipOf(tb, "ada.csv", csvOf2)
	return map[string][]byte{
		"empty.fit":                   {},
		"header_only.fit":             plain[:14],
		"inside_header.fit":           plain[:9],
		"truncated.fit":               plain[:len(plain)/2],
		"truncated_before_record.fit": plain[:40],
		"checksum_missing.fit":        plain[:len(plain)-2],
		"flipped_bit.fit":             changed(plain, func(b []byte) { b[len(b)/2] ^= 0x10 }),
		"header_size.fit":             changed(plain, func(b []byte) { b[0] = 15 }),
		"no_data_size.fit":            changed(plain, func(b []byte) { copy(b[4:8], []byte{0, 0, 0, 0}) }),
		"unknown_local_message.fit":   repaired(plain, func(b []byte) { b[len(b)-2-6] = 0x0f }),
		"settings.fit": encodeFIT(tb, message(mesgnum.FileId, fieldnum.FileIdType, uint8(typedef.FileSettings),
			fieldnum.FileIdManufacturer, uint16(255), fieldnum.FileIdTimeCreated, fitSeconds(day))),
		"no_heart_rate.fit": encodeFIT(tb, fileID(), record(0, fieldnum.RecordSpeed, uint16(2000)), record(1, fieldnum.RecordHeartRate, uint8(255))),
		"clock_unset.fit": encodeFIT(tb, fileID(), message(mesgnum.Record, fieldnum.RecordTimestamp, uint32(1000),
			fieldnum.RecordHeartRate, uint8(100))),
		"no_timestamps.fit":     encodeFIT(tb, fileID(), message(mesgnum.Record, fieldnum.RecordHeartRate, uint8(100))),
		"deep.gpx":              []byte(deep),
		"long_text.tcx":         []byte("<TrainingCenterDatabase><Notes>" + strings.Repeat("x", 2<<20) + "</Notes></TrainingCenterDatabase>"),
		"not_utf8.tcx":          bytes.ReplaceAll(bytes.Replace(latinTCX, []byte(` encoding="ISO-8859-1"`), nil, 1), []byte("ö"), []byte("\xf6")),
		"zeros.bin":             zeros[:1000],
		"text_with_nul.csv":     []byte("time,hr\x00\n1,2\n"),
		"picture.png":           []byte("\x89PNG\r\n\x1a\n\x00\x00"),
		"old_workbook.xls":      append([]byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"), zeros[:64]...),
		"packed.csv.gz":         {0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 3, 0},
		"workbook.xlsx":         zipOf(tb, "[Content_Types].xml", "<Types/>", "xl/workbook.xml", "<workbook/>"),
		"bomb.zip":              zipOf(tb, "zeros.csv", zeros),
		"nothing_inside.zip":    zipOf(tb),
		"only_text.zip":         zipOf(tb, "readme.txt", "hello", "more.txt", "hello"),
		"zip_in_zip_in_zip.zip": zipOf(tb, "a.zip", zipOf(tb, "b.zip", inner)),
		"truncated.zip":         inner[:len(inner)-10],
		"altered_entry.zip":     changed(zipOf(tb, "ada.csv", csvOf2+strings.Repeat("2025-09-02T08:00:02Z,121\n", 40)), func(b []byte) { b[60] ^= 0xff }),
		"encrypted.zip": changed(inner, func(b []byte) {
			b[6] |= 1
			b[bytes.Index(b, []byte("PK\x01\x02"))+8] |= 1
		}),
		"long_line.csv": []byte("time,hr\n" + strings.Repeat("1", 2<<20)),
		"utf16_odd.csv": {0xff, 0xfe, 'a', 0, 0},
	}
}

// corpus returns the inputs of a folder, files and made ones.
func corpus(tb testing.TB, folder string, made map[string][]byte) map[string][]byte {
	tb.Helper()
	all := map[string][]byte{}
	err := filepath.WalkDir(filepath.Join(testdata, folder), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasSuffix(path, ".golden.json") || strings.HasSuffix(path, ".md") {
			return err
		}
		all[d.Name()], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		tb.Fatal(err)
	}
	for name, content := range made {
		if _, twice := all[name]; twice {
			tb.Fatalf("%s is both made and in %s", name, folder)
		}
		all[name] = content
	}
	return all
}

func sprintSample(at time.Duration, hr, speed, cadence float32, haveSpeed, haveCadence bool) string {
	s := fmt.Sprintf("%v hr %v", at, hr)
	if haveSpeed {
		s += fmt.Sprintf(" speed %.3f", speed)
	}
	if haveCadence {
		s += fmt.Sprintf(" cadence %v", cadence)
	}
	return s
}
