package main

import (
	"bytes"
	"encoding/xml"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"canter.example/ingest/formats"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/scorer/engine"
	"github.com/muktihari/fit/decoder"
	"github.com/muktihari/fit/proto"
)

// lowBattery is a real 66-min activity that ships with the FIT library: the
// file of the speed targets. It is read where the library lies, never copied.
func lowBattery(tb testing.TB) (name string, content []byte) {
	tb.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/muktihari/fit").Output()
	if err != nil {
		tb.Fatalf("the FIT module is not in the module cache (go mod download): %v", err)
	}
	name = filepath.Join(strings.TrimSpace(string(out)), "testdata", "from_official_sdk", "activity_lowbattery.fit")
	if content, err = os.ReadFile(name); err != nil {
		tb.Fatal(err)
	}
	return name, content
}

type countMesg struct{ n int }

func (c *countMesg) OnMesg(proto.Message) { c.n++ }

// BenchmarkDecodeAndScore sets decoding and scoring of a file beside the bare
// decode of the same bytes: the targets are 1.25 times for FIT (the same
// library, streaming, checksum on) and 1.0 times for TCX (xml.Unmarshal).
func BenchmarkDecodeAndScore(b *testing.B) {
	name, fit := lowBattery(b)
	tcxName := filepath.Join(b.TempDir(), "a.tcx")
	if out, err := exec.Command("gpsbabel", "-i", "garmin_fit,allpoints", "-f", name, "-o", "gtrnctr,course=0", "-F", tcxName).CombinedOutput(); err != nil {
		b.Fatalf("gpsbabel: %v\n%s", err, out)
	}
	tcx, err := os.ReadFile(tcxName)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("FIT/bare", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := decoder.New(bytes.NewReader(fit), decoder.WithMesgListener(&countMesg{}), decoder.WithBroadcastOnly()).Decode(); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("FIT/canter", func(b *testing.B) { benchmarkFile(b, "a.fit", fit) })
	b.Run("TCX/bare", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			var doc struct {
				Points []struct {
					Time string   `xml:"Time"`
					HR   *float64 `xml:"HeartRateBpm>Value"`
				} `xml:"Activities>Activity>Lap>Track>Trackpoint"`
			}
			if err := xml.Unmarshal(tcx, &doc); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("TCX/canter", func(b *testing.B) { benchmarkFile(b, "a.tcx", tcx) })
}

func benchmarkFile(b *testing.B, name string, content []byte) {
	b.Helper()
	p := club.DefaultProtocol("four", 4*time.Minute)
	req := engine.Request{Protocol: &p, HRmax: schemas.HRmax{BPM: schemas.Num(195), Source: schemas.HRmaxMeasured}}
	b.ReportAllocs()
	for b.Loop() {
		traces, _, err := formats.Decode(name, content, formats.Options{})
		if err != nil {
			b.Fatal(err)
		}
		engine.Score(&traces[0], req)
	}
}
