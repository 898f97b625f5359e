package season

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"fmt"
	"hash/crc32"
	"strings"
	"time"

	"github.com/muktihari/fit/encoder"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/proto"
)

// Broken returns files that must each be refused or parked with a clear
// reason, and none of which may stop a service. They fit the club file of any
// season: where Truth names an athlete, the path is right and the content is
// at fault; where it names none, nobody can tell whose the file is. Reason
// says what was done to the file. The same bytes every time.
//
// All are small; the largest is below 2 MiB, and none unpacks to more than
// 16 MiB.
func Broken() []File {
	var files []File
	date := time.Date(2026, time.December, 1, 0, 0, 0, 0, time.UTC)
	for _, group := range [][]broken{brokenFIT(), brokenXML(), brokenCSV(), brokenArchives(), strangers()} {
		for _, c := range group {
			name, folder, athlete := c.name, folderFirst, ""
			if strings.HasPrefix(name, ".") {
				name, athlete = brokenOwner+name, brokenOwner
			}
			if c.folder != "" {
				folder = c.folder
			}
			// A day each, so that every file bears an athlete's proper name.
			files = append(files, newFile(folder, date.AddDate(0, 0, len(files)), name, c.content,
				Truth{Athlete: athlete, Reason: c.what}))
		}
	}
	return files
}

const brokenOwner = "AKF"

// broken is one file: name is a whole name, or an extension for brokenOwner's.
type broken struct {
	name    string
	folder  string
	what    string
	content []byte
}

// sound is a whole recording of somebody who is not in the club, to break.
func sound() (*person, *recording) {
	p := &person{someone: someone{id: "NOBODY", name: "Nobody", female: true, born: 2000, device: fitWatch}, squad: first}
	body(1, p)
	p.serial, p.watch = 999999, 3999999999
	r := chance(1, "broken")
	w, _ := testWorkout(r, p, 1500)
	c := live(r, p, w, goal{hrex: 0.8 * p.hrmax, hrr: 38}, 0)
	rec := p.record(r, c, time.Date(2026, time.December, 1, 10, 20, 0, 0, time.UTC), strapFine)
	rec.strap = p.strapSerial()
	return p, rec
}

// must is for encoders that can't fail on what this file gives them.
func must(b []byte, err error) []byte {
	if err != nil {
		panic(fmt.Sprintf("season: broken file: %v", err))
	}
	return b
}

// noise is n bytes that mean nothing.
func noise(n int) []byte {
	r := chance(2, "noise")
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(r.Uint32())
	}
	return b
}

func brokenFIT() []broken {
	p, rec := sound()
	whole := must(fitFile(p, rec))
	garbled := bytes.Clone(whole[:2000])
	copy(garbled[14:], noise(2000-14))

	mute := *rec
	mute.samples = append([]sample(nil), rec.samples...)
	for i := range mute.samples {
		mute.samples[i].hr = 0
	}
	unset := *rec
	unset.start = time.Date(1989, time.December, 31, 0, 10, 0, 0, time.UTC)

	return []broken{
		{".fit", "", "an empty file", nil},
		{".fit", "", "FIT, cut inside its header", whole[:8]},
		{".fit", "", "FIT, cut right after its header", whole[:14]},
		{".fit", "", "FIT, cut before its first reading", whole[:90]},
		{".fit", "", "FIT header with random bytes behind it", garbled},
		{".fit", "", "random bytes with the extension of FIT", noise(4096)},
		{".fit", "", "FIT of a device's settings: sound, without readings", must(settingsFile())},
		{".fit", "", "FIT of a whole session without one heart rate", must(fitFile(p, &mute))},
		{".fit", "", "FIT of a watch whose clock was never set: 1989", must(fitFile(p, &unset))},
	}
}

// settingsFile is a FIT file that is no activity.
func settingsFile() ([]byte, error) {
	at := time.Date(2026, time.December, 1, 9, 0, 0, 0, time.UTC)
	w := &seekBuffer{}
	err := encoder.New(w).Encode(&proto.FIT{Messages: []proto.Message{
		mesgdef.NewFileId(nil).SetType(typedef.FileSettings).SetManufacturer(typedef.ManufacturerDevelopment).
			SetProduct(2).SetSerialNumber(3999999999).SetTimeCreated(at).ToMesg(nil),
		mesgdef.NewUserProfile(nil).SetRestingHeartRate(52).SetDefaultMaxHeartRate(194).ToMesg(nil),
	}})
	return w.b, err
}

func brokenXML() []broken {
	p, rec := sound()
	tcx := string(tcxFile(p, rec))
	gpx := string(gpxFile(p, rec))
	head := tcx[:strings.Index(tcx, "<Trackpoint>")]
	tail := tcx[strings.LastIndex(tcx, "</Trackpoint>")+len("</Trackpoint>"):]
	point := func(s string) string { return head + strings.Repeat(s, 300) + tail }
	bomb := `<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]>`
	outside := `<!DOCTYPE gpx [<!ENTITY f SYSTEM "file:///etc/hostname">]>`
	after := func(doc, declaration string) string {
		return strings.Replace(doc, "?>\n", "?>\n"+declaration+"\n", 1)
	}
	deep := strings.Repeat("<Extensions>", 5000)

	return []broken{
		{".tcx", "", "TCX with entities that multiply", []byte(strings.Replace(after(tcx, bomb), "<Calories>0", "<Calories>&c;", 1))},
		{".gpx", "", "GPX with an entity from another file", []byte(strings.Replace(after(gpx, outside), "Training", "&f;", 1))},
		{".tcx", "", "TCX, cut inside its first reading", []byte(head + "<Trackpoint><Time>2026-12-01T10:2")},
		{".tcx", "", "TCX with laps and no readings", []byte(head + tail)},
		{".tcx", "", "TCX nested five thousand deep", []byte(head + "<Trackpoint>" + deep)},
		{".tcx", "", "TCX whose times are empty", []byte(point("<Trackpoint><Time></Time><HeartRateBpm><Value>140</Value></HeartRateBpm></Trackpoint>\n"))},
		{".tcx", "", "TCX whose tags do not match from the start", []byte(strings.Replace(head, "<Activities>", "<Activities></Lap>", 1) + tail)},
		{".gpx", "", "GPX without times: a drawn route", []byte(without(gpx, "<time>", "</time>"))},
		{".gpx", "", "GPX of positions only, no heart rate", []byte(without(gpx, "<extensions>", "</extensions>"))},
		{".gpx", "", "XML of another kind: places on a map",
			[]byte("<?xml version=\"1.0\"?>\n<kml xmlns=\"http://www.opengis.net/kml/2.2\"><Document><Placemark><name>Pitch</name></Placemark></Document></kml>\n")},
		{".tcx", "", "the login page of a website, saved under the name of a session",
			[]byte("<!DOCTYPE html>\n<html><head><title>Sign in</title></head><body><form><input name=user></form></body></html>\n")},
	}
}

// without takes what stands between two tags out of each of the first 300
// lines of a GPX file, the tags included, and drops the other lines.
func without(gpx, open, end string) string {
	var b strings.Builder
	for i, line := range strings.SplitAfter(gpx, "\n") {
		if i == 300 {
			break
		}
		if from, to := strings.Index(line, open), strings.Index(line, end); from >= 0 && to >= 0 {
			line = line[:from] + line[to+len(end):]
		}
		b.WriteString(line)
	}
	return b.String() + "</trkseg></trk>\n</gpx>\n"
}

// rows repeats a CSV row for 300 seconds, with the clock time put in.
func rows(heading, row string) []byte {
	b := []byte(heading + "\n")
	at := time.Date(2026, time.December, 1, 10, 20, 0, 0, time.UTC)
	for i := range 300 {
		t := at.Add(time.Duration(i) * time.Second).Format(time.DateTime)
		b = append(b, strings.ReplaceAll(row, "{t}", t)...)
		b = append(b, '\n')
	}
	return b
}

func brokenCSV() []broken {
	good := rows("Time,Heart rate (bpm)", "{t},140")
	utf16 := []byte{0xff, 0xfe}
	for _, c := range good[:20] {
		utf16 = append(utf16, c, 0)
	}
	return []broken{
		{".csv", "", "CSV with a heading and nothing below it", []byte("Time,Heart rate (bpm)\n")},
		{".csv", "", "CSV without a heart-rate column", rows("Time,Speed (km/h)", "{t},8.4")},
		{".csv", "", "CSV without a time column", rows("Heart rate (bpm),Speed (km/h)", "140,8.4")},
		{".csv", "", "CSV without headings", rows("2026-12-01 10:19:59,139", "{t},140")},
		{".csv", "", "CSV with two heart-rate columns", rows("Time,HR,HR", "{t},140,90")},
		{".csv", "", "CSV whose heart rates are words", rows("Time,HR", "{t},high")},
		{".csv", "", "CSV whose heart rates are all 0", rows("Time,HR", "{t},0")},
		{".csv", "", "CSV whose times do not exist", rows("Time,HR", "2026-02-30 25:61:00,140")},
		{".csv", "", "CSV full of NUL bytes: the disk was full", append(bytes.Clone(good[:20]), make([]byte, 4096)...)},
		{".csv", "", "CSV in UTF-16, cut in the middle of a character", utf16[:21]},
		{".csv", "", "one line of more than a million characters", bytes.Repeat([]byte("140,"), 300_000)},
		{".csv", "", "a letter to the coach", []byte("Dear coach,\nthe strap is broken; I ran anyway.\nSee you on Thursday\n")},
		{".csv", "", "a PDF report under the name of a CSV", append([]byte("%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"), noise(2048)...)},
		{".csv", "", "an old spreadsheet workbook under the name of a CSV", append([]byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"), noise(2048)...)},
		{".gpx", "", "a picture under the name of a GPX", append([]byte("\x89PNG\r\n\x1a\n"), noise(2048)...)},
		{".gpx", "", "an error message in JSON under the name of a GPX", []byte(`{"error":"session expired","code":401}` + "\n")},
	}
}

// packed makes a ZIP with entries in the given order.
func packed(entries ...entry) []byte {
	var buf bytes.Buffer
	z := zip.NewWriter(&buf)
	for _, e := range entries {
		w, err := z.CreateHeader(&zip.FileHeader{Name: e.name, Method: zip.Deflate})
		must(nil, err)
		_, err = w.Write(e.content)
		must(nil, err)
	}
	must(nil, z.Close())
	return buf.Bytes()
}

type entry struct {
	name    string
	content []byte
}

// encrypted makes a ZIP with one entry that says it needs a password.
func encrypted(e entry) []byte {
	var buf bytes.Buffer
	z := zip.NewWriter(&buf)
	w, err := z.CreateRaw(&zip.FileHeader{
		Name: e.name, Method: zip.Store, Flags: 1, CRC32: crc32.ChecksumIEEE(e.content),
		CompressedSize64: uint64(len(e.content)), UncompressedSize64: uint64(len(e.content)),
	})
	must(nil, err)
	_, err = w.Write(e.content)
	must(nil, err)
	must(nil, z.Close())
	return buf.Bytes()
}

func brokenArchives() []broken {
	good := entry{brokenOwner + ".csv", rows("Time,Heart rate (bpm)", "{t},140")}
	nested := packed(good)
	for range 5 {
		nested = packed(entry{"inner.zip", nested})
	}
	var gz bytes.Buffer
	g := gzip.NewWriter(&gz)
	_, err := g.Write(good.content)
	must(nil, err)
	must(nil, g.Close())
	whole := packed(good)
	return []broken{
		{".zip", "", "ZIP, cut in half", whole[:len(whole)/2]},
		{".zip", "", "ZIP with nothing inside", packed()},
		{".zip", "", "ZIP that unpacks to a thousand times its size", packed(entry{brokenOwner + ".csv", bytes.Repeat([]byte("0"), 16<<20)})},
		{".zip", "", "ZIP in ZIP, six deep", nested},
		{".zip", "", "ZIP with a password", encrypted(good)},
		{".zip", "", "ZIP whose entry climbs out of its folder and holds nothing readable",
			packed(entry{"../../../../" + brokenOwner + ".csv", noise(512)})},
		{".csv", "", "a new spreadsheet workbook under the name of a CSV", packed(
			entry{"[Content_Types].xml", []byte(`<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>`)},
			entry{"xl/workbook.xml", []byte(`<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>`)})},
		{".csv", "", "CSV inside gzip", gz.Bytes()},
		{".zip", "", "RAR archive under the name of a ZIP", append([]byte("Rar!\x1a\x07\x01\x00"), noise(1024)...)},
	}
}

// strangers are sound recordings that belong to nobody the club knows.
func strangers() []broken {
	p, rec := sound()
	return []broken{
		{"NOBODY.fit", "", "a sound FIT of somebody whom the club file does not know", must(fitFile(p, rec))},
		{"session 1.tcx", "", "a sound TCX whose name is no athlete's", tcxFile(p, rec)},
		{"AKF-BSO.csv", "", "a sound CSV whose name could be two athletes'", commaFile(rec, time.UTC)},
		{"team.csv", folderSecond, "a team export whose columns are nobody's names", rows("Time,Player One,Player Two", "{t},140,150")},
		{"team-long.csv", folderSecond, "a team export with a spreadsheet formula where a name should be",
			rows("athlete,time,heart_rate", `"=HYPERLINK(""http://example.invalid"",""AKF"")",{t},140`)},
	}
}
