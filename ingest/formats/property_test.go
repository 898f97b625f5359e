package formats

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/muktihari/fit/encoder"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/profile/untyped/mesgnum"
	"github.com/muktihari/fit/proto"
	"pgregory.net/rapid"

	"canter.example/schemas"
)

// drawSamples makes samples at whole seconds, with channels or without.
func drawSamples(t *rapid.T, speed, cadence bool) []schemas.Sample {
	n := rapid.IntRange(1, 40).Draw(t, "samples")
	samples := make([]schemas.Sample, n)
	at := 0
	for i := range samples {
		s := &samples[i]
		s.At = time.Duration(at) * time.Second
		at += rapid.IntRange(0, 7).Draw(t, "step")
		s.HR = float32(rapid.IntRange(30, 230).Draw(t, "hr"))
		if i > 0 && rapid.IntRange(0, 9).Draw(t, "dropout") == 0 {
			s.HR = 0
		}
		if speed {
			s.Speed = float32(rapid.IntRange(0, 9000).Draw(t, "speed")) / 1000
			s.Have |= schemas.HasSpeed
		}
		if cadence {
			s.Cadence = float32(2 * rapid.IntRange(0, 120).Draw(t, "strides"))
			s.Have |= schemas.HasCadence
		}
	}
	return samples
}

func sameSamples(t *rapid.T, traces []schemas.Trace, start time.Time, want []schemas.Sample) {
	t.Helper()
	if len(traces) != 1 {
		t.Fatalf("%d traces", len(traces))
	}
	if !traces[0].Start.Equal(start) {
		t.Errorf("start %v, want %v", traces[0].Start, start)
	}
	if d := cmp.Diff(want, traces[0].Samples, cmpopts.EquateApprox(0, 1e-3)); d != "" {
		t.Errorf("samples (-want +got):\n%s\nnotes %q", d, traces[0].Notes)
	}
}

// TestEveryDialectOfCSVReadsBack writes the same samples in every way that
// people write CSV.
func TestEveryDialectOfCSVReadsBack(t *testing.T) {
	base := testOptions(t)
	rapid.Check(t, func(t *rapid.T) {
		start := day.Add(time.Duration(rapid.IntRange(0, 8*3600).Draw(t, "start")) * time.Second)
		samples := drawSamples(t, true, true)
		d := dialect{
			comma:   rapid.SampledFrom([]string{",", ";", "\t", "|"}).Draw(t, "delimiter"),
			end:     rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "line end"),
			quote:   rapid.Bool().Draw(t, "quotes"),
			decimal: ".",
		}
		if d.comma != "," || d.quote {
			d.decimal = rapid.SampledFrom([]string{".", ","}).Draw(t, "decimal")
		}
		timeHead, write, opt := drawTimes(t, start, base)
		kmh := rapid.Bool().Draw(t, "km/h")
		speedHead, factor := "Speed (m/s)", 1.0
		if kmh {
			speedHead, factor = rapid.SampledFrom([]string{"speed_km/h", "Geschwindigkeit [km/h]", "Vitesse (kph)"}).Draw(t, "speed"), 3.6
		}
		columns := []column{
			{timeHead, write},
			{rapid.SampledFrom([]string{"HR", "heart_rate", "Heart rate (bpm)", "heartRate", "Fréquence cardiaque", "HF [1/min]", "hr bpm", "Pulsaciones", "Puls"}).Draw(t, "hr heading"),
				func(s schemas.Sample) string {
					if s.HR == 0 {
						return rapid.SampledFrom([]string{"", "-", "0", "255", "NaN"}).Draw(t, "blank")
					}
					return d.number(float64(s.HR))
				}},
			{speedHead, func(s schemas.Sample) string { return d.number(float64(s.Speed) * factor) }},
			{rapid.SampledFrom([]string{"Cadence (spm)", "steps per minute"}).Draw(t, "cadence"),
				func(s schemas.Sample) string { return d.number(float64(s.Cadence)) }},
			{"Distance (m)", func(schemas.Sample) string { return "1" }},
		}
		columns = rapid.Permutation(columns).Draw(t, "order")
		text := d.write(columns, samples)
		if rapid.Bool().Draw(t, "byte-order mark") {
			text = "\ufeff" + text
		}
		traces, format, err := Decode("a.csv", []byte(text), opt)
		if err != nil || format != CSV {
			t.Fatalf("%q: %v\n%s", format, err, text)
		}
		sameSamples(t, traces, start, samples)
	})
}

type dialect struct {
	comma, end, decimal string
	quote               bool
}

type column struct {
	heading string
	cell    func(schemas.Sample) string
}

func (d dialect) number(v float64) string {
	return strings.Replace(strconv.FormatFloat(v, 'f', -1, 64), ".", d.decimal, 1)
}

func (d dialect) write(columns []column, samples []schemas.Sample) string {
	var b strings.Builder
	line := func(cell func(column) string) {
		for i, c := range columns {
			if i > 0 {
				b.WriteString(d.comma)
			}
			if d.quote {
				b.WriteString(strconv.Quote(cell(c)))
			} else {
				b.WriteString(cell(c))
			}
		}
		b.WriteString(d.end)
	}
	line(func(c column) string { return c.heading })
	for _, s := range samples {
		line(func(c column) string { return c.cell(s) })
	}
	return b.String()
}

// drawTimes picks a way to write times, and the options it needs.
func drawTimes(t *rapid.T, start time.Time, opt Options) (string, func(schemas.Sample) string, Options) {
	as := func(layout string, zone *time.Location) func(schemas.Sample) string {
		return func(s schemas.Sample) string { return start.Add(s.At).In(zone).Format(layout) }
	}
	switch rapid.IntRange(0, 7).Draw(t, "times") {
	case 0:
		return "timestamp", as(time.RFC3339, time.UTC), opt
	case 1:
		return "Time", as(time.RFC3339, opt.Zone), opt
	case 2:
		return "Date time", as("2006-01-02 15:04:05", opt.Zone), opt
	case 3:
		return "Datum/Zeit", as("02.01.2006 15:04:05", opt.Zone), opt
	case 4:
		return "Time", as("15:04:05", opt.Zone), opt
	case 5:
		return "Time", as("3:04:05 PM", opt.Zone), opt
	case 6:
		return "unix time", func(s schemas.Sample) string { return strconv.FormatInt(start.Add(s.At).Unix(), 10) }, opt
	default:
		opt.Date = start.In(opt.Zone)
		return "Elapsed (s)", func(s schemas.Sample) string { return strconv.Itoa(int(s.At / time.Second)) }, opt
	}
}

// TestXMLReadsBackWhateverItsPrefixes writes TCX and GPX with prefixes and
// layout of all kinds.
func TestXMLReadsBackWhateverItsPrefixes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		samples := drawSamples(t, true, true)
		prefix := func(name string) string {
			return rapid.SampledFrom([]string{"", "a:", "ns3:", "gpxtpx:"}).Draw(t, name)
		}
		main, ext := prefix("main"), prefix("extension")
		space := rapid.SampledFrom([]string{"", "\n  ", "\r\n\t"}).Draw(t, "space")
		var b strings.Builder
		element := func(p, name, text string) { fmt.Fprintf(&b, "%s<%s%s>%s</%s%s>", space, p, name, text, p, name) }
		gpx := rapid.Bool().Draw(t, "gpx")
		if gpx {
			fmt.Fprintf(&b, "<?xml version='1.0'?><%sgpx><trk><trkseg>", main)
		} else {
			fmt.Fprintf(&b, "<%sTrainingCenterDatabase><Activities><Activity Sport='Other'><Lap><Track>", main)
		}
		for _, s := range samples {
			at := day.Add(s.At).Format(time.RFC3339)
			if gpx {
				b.WriteString("<trkpt lat='1' lon='2'>")
				element("", "time", at)
				b.WriteString("<extensions>")
				element(ext, "hr", fmt.Sprint(s.HR))
				element(ext, "cad", fmt.Sprint(s.Cadence/2))
				element(ext, "speed", fmt.Sprint(s.Speed))
				b.WriteString("</extensions></trkpt>")
				continue
			}
			b.WriteString("<Trackpoint>")
			element("", "Time", at)
			element("", "HeartRateBpm", "<Value>"+fmt.Sprint(s.HR)+"</Value>")
			fmt.Fprintf(&b, "<Extensions><%sTPX>", ext)
			element(ext, "Speed", fmt.Sprint(s.Speed))
			element(ext, "RunCadence", fmt.Sprint(s.Cadence/2))
			fmt.Fprintf(&b, "</%sTPX></Extensions></Trackpoint>", ext)
		}
		if gpx {
			fmt.Fprintf(&b, "</trkseg></trk></%sgpx>", main)
		} else {
			fmt.Fprintf(&b, "</Track></Lap></Activity></Activities></%sTrainingCenterDatabase>", main)
		}
		traces, _, err := Decode("a.xml", []byte(b.String()), Options{})
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		sameSamples(t, traces, day, samples)
	})
}

// TestFITReadsBackWhateverItsEncoding writes FIT with either byte order, and
// with compressed timestamps.
func TestFITReadsBackWhateverItsEncoding(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		samples := drawSamples(t, rapid.Bool().Draw(t, "speed"), rapid.Bool().Draw(t, "cadence"))
		messages := []proto.Message{fileID()}
		for _, s := range samples {
			fields := []any{fieldnum.RecordTimestamp, fitSeconds(day.Add(s.At)), fieldnum.RecordHeartRate, uint8(s.HR)}
			if s.Have&schemas.HasSpeed != 0 {
				fields = append(fields, fieldnum.RecordEnhancedSpeed, uint32(math.Round(float64(s.Speed)*1000)))
			}
			if s.Have&schemas.HasCadence != 0 {
				fields = append(fields, fieldnum.RecordCadence, uint8(s.Cadence/2))
			}
			messages = append(messages, message(mesgnum.Record, fields...))
		}
		var options []encoder.Option
		if rapid.Bool().Draw(t, "big-endian") {
			options = append(options, encoder.WithBigEndian())
		}
		if rapid.Bool().Draw(t, "compressed timestamps") {
			options = append(options, encoder.WithHeaderOption(encoder.HeaderOptionCompressedTimestamp, 3))
		}
		var b bytes.Buffer
		if err := encoder.New(&b, options...).Encode(&proto.FIT{Messages: messages}); err != nil {
			t.Fatal(err)
		}
		traces, _, err := Decode("a.fit", b.Bytes(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		sameSamples(t, traces, day, samples)
	})
}

// TestClockTimesResolveAroundEveryClockChange: clock times of a running trace
// come back as the instants they were made from, on days when the clocks change.
func TestClockTimesResolveAroundEveryClockChange(t *testing.T) {
	zones := []string{"Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "America/Santiago", "Asia/Kathmandu", "Pacific/Apia", "UTC"}
	rapid.Check(t, func(t *rapid.T) {
		zone, err := time.LoadLocation(rapid.SampledFrom(zones).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		_, change := time.Date(2025, time.Month(rapid.IntRange(1, 12).Draw(t, "month")), 1, 0, 0, 0, 0, zone).ZoneBounds()
		if change.IsZero() {
			change = day
		}
		at := change.Add(time.Duration(rapid.IntRange(-5*3600, 5*3600).Draw(t, "from change")) * time.Second)
		step := time.Duration(rapid.IntRange(1, 300).Draw(t, "step")) * time.Second
		var want, walls []int64
		// Long enough to leave the repeated hour, where only that tells the two apart.
		for range int(2*time.Hour/step) + 1 {
			want = append(want, at.UnixNano())
			_, offset := at.Zone()
			walls = append(walls, at.UnixNano()+int64(offset)*int64(time.Second))
			at = at.Add(step)
		}
		w := wallClock{zone: zone}
		if _, gap := w.resolve(walls); gap >= 0 {
			t.Fatalf("a clock time of %v was held not to exist", time.Unix(0, want[gap]).In(zone))
		}
		for i := range want {
			if walls[i] != want[i] {
				t.Fatalf("sample %d: %v, want %v", i, time.Unix(0, walls[i]).In(zone), time.Unix(0, want[i]).In(zone))
			}
		}
	})
}

// TestEveryCutOfAFITFileGivesTheSamplesBeforeIt cuts a file at each byte.
func TestEveryCutOfAFITFileGivesTheSamplesBeforeIt(t *testing.T) {
	content := plainFIT(t, 30)
	whole := decodeOne(t, "whole.fit", content)
	last := 0
	for cut := 1; cut < len(content); cut++ {
		traces, _, err := Decode("cut.fit", content[:cut], Options{})
		if err != nil {
			checkError(t, "cut.fit", err)
			if last > 0 {
				t.Fatalf("cut at %d: %v, where a shorter piece gave %d samples", cut, err, last)
			}
			continue
		}
		got := traces[0]
		if got.Damage.Kind != schemas.EndsEarly || len(got.Samples) < last {
			t.Fatalf("cut at %d: damaged %v, %d samples", cut, got.Damage, len(got.Samples))
		}
		last = len(got.Samples)
		if d := cmp.Diff(whole.Samples[:last], got.Samples); d != "" {
			t.Fatalf("cut at %d: %s", cut, d)
		}
	}
	if last != 30 {
		t.Errorf("the last piece gave %d samples", last)
	}
}

// TestNoFlippedBitOfAFITFileGoesUnsaid flips every bit, one by one.
func TestNoFlippedBitOfAFITFileGoesUnsaid(t *testing.T) {
	content := plainFIT(t, 30)
	for bit := range 8 * len(content) {
		flipped := bytes.Clone(content)
		flipped[bit/8] ^= 1 << (bit % 8)
		traces, _, err := Decode("flipped.fit", flipped, Options{})
		if err != nil {
			checkError(t, "flipped.fit", err)
			continue
		}
		for _, tr := range traces {
			if tr.Damage.Kind == schemas.Sound && len(tr.Notes) == 0 {
				t.Fatalf("bit %d: read as if nothing were wrong", bit)
			}
		}
	}
}

// TestSessionsFarApartLoseNoSample: split or not, every sample is in one of the
// traces or counted as a stray.
func TestSessionsFarApartLoseNoSample(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var samples []schemas.Sample
		at := time.Duration(0)
		for range rapid.IntRange(1, 5).Draw(t, "sessions") {
			for range rapid.IntRange(1, 30).Draw(t, "samples") {
				samples = append(samples, schemas.Sample{At: at, HR: 100})
				at += time.Second
			}
			at += time.Duration(rapid.IntRange(0, 14*3600).Draw(t, "gap")) * time.Second
		}
		parts, err := splitSessions(schemas.Trace{Start: day, Samples: samples})
		if err != nil {
			t.Fatal(err)
		}
		kept := map[time.Time]bool{}
		for _, p := range parts {
			if spanOf(p.Samples) > time.Duration(len(samples))*time.Second+5*sessionGap {
				t.Errorf("a session of %v", spanOf(p.Samples))
			}
			for _, s := range p.Samples {
				at := p.Start.Add(s.At)
				if kept[at] {
					t.Errorf("%v is there twice", at)
				}
				kept[at] = true
			}
		}
		strays := 0
		if lost := len(samples) - len(kept); lost > 0 {
			for _, n := range parts[0].Notes {
				_, _ = fmt.Sscanf(n, "%d sample", &strays)
				if strays == lost {
					return
				}
			}
			t.Errorf("%d samples lost, notes %q", lost, parts[0].Notes)
		}
	})
}
