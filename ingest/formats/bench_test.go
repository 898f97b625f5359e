package formats

import (
	"bytes"
	"encoding/xml"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/muktihari/fit/decoder"
	"github.com/muktihari/fit/proto"
)

// fitModule returns the folder of real FIT files that ship with the FIT
// library, in the module cache. They may not be redistributed, so they are
// read from there and never copied here.
func fitModule(tb testing.TB) string {
	tb.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/muktihari/fit").Output()
	if err != nil {
		tb.Fatalf("the FIT module is not in the module cache (run go mod download): %v", err)
	}
	return filepath.Join(strings.TrimSpace(string(out)), "testdata")
}

func realFIT(tb testing.TB, path ...string) []byte {
	tb.Helper()
	content, err := os.ReadFile(filepath.Join(append([]string{fitModule(tb)}, path...)...))
	if err != nil {
		tb.Fatal(err)
	}
	return content
}

func lowBattery(tb testing.TB) []byte {
	return realFIT(tb, "from_official_sdk", "activity_lowbattery.fit")
}

// nothing is a listener that only receives.
type nothing struct{ n int }

func (l *nothing) OnMesg(proto.Message) { l.n++ }

// BenchmarkFIT sets our reader beside the bare streaming decode of the same
// bytes by the same library with checksum on. The 66-min activity is that of
// the speed target: decode and scoring together within 1.25 times the bare one.
func BenchmarkFIT(b *testing.B) {
	content := lowBattery(b)
	b.Run("bare", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(content)))
		for b.Loop() {
			l := nothing{}
			if _, err := decoder.New(bytes.NewReader(content), decoder.WithMesgListener(&l), decoder.WithBroadcastOnly()).Decode(); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("ours", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(content)))
		for b.Loop() {
			if _, _, err := Decode("a.fit", content, Options{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// bareTCX is what a script would unmarshal a TCX file into.
type bareTCX struct {
	Activities []struct {
		Sport string `xml:"Sport,attr"`
		Laps  []struct {
			StartTime string  `xml:"StartTime,attr"`
			Seconds   float64 `xml:"TotalTimeSeconds"`
			Trigger   string  `xml:"TriggerMethod"`
			Points    []struct {
				Time    string   `xml:"Time"`
				HR      *float64 `xml:"HeartRateBpm>Value"`
				Speed   *float64 `xml:"Extensions>TPX>Speed"`
				Cadence *float64 `xml:"Extensions>TPX>RunCadence"`
			} `xml:"Track>Trackpoint"`
		} `xml:"Lap"`
	} `xml:"Activities>Activity"`
}

// BenchmarkTCX sets our reader beside xml.Unmarshal of the same bytes.
func BenchmarkTCX(b *testing.B) {
	content := babel(b, lowBattery(b), "gtrnctr,course=0")
	b.Run("bare", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(content)))
		for b.Loop() {
			var doc bareTCX
			if err := xml.Unmarshal(content, &doc); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("ours", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(content)))
		for b.Loop() {
			if _, _, err := Decode("a.tcx", content, Options{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
