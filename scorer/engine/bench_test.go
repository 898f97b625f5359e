package engine_test

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/muktihari/fit/decoder"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/profile/untyped/mesgnum"
	"github.com/muktihari/fit/proto"

	"canter.example/schemas"
	"canter.example/scorer/engine"
	"canter.example/scorer/engine/simulate"
)

// fitFile returns the bytes of a real FIT file that ships in the module cache
// of muktihari/fit. Its files are read there and never copied: some may not be
// passed on. A missing file fails the test.
func fitFile(tb testing.TB, path string) []byte {
	tb.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/muktihari/fit").Output()
	if err != nil {
		tb.Fatalf("where is the module github.com/muktihari/fit? %v", err)
	}
	b, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(out)), "testdata", path))
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// fitTrace is a plain reader of record messages, for tests of the scorer only.
type fitTrace struct{ trace schemas.Trace }

func (f *fitTrace) OnMesg(m proto.Message) {
	if m.Num != mesgnum.Record {
		return
	}
	var at time.Time
	var s schemas.Sample
	for i := range m.Fields {
		switch v := m.Fields[i].Value; m.Fields[i].Num {
		case fieldnum.RecordTimestamp:
			at = time.Unix(int64(v.Uint32())+631065600, 0).UTC() // FIT's epoch, 1989-12-31
		case fieldnum.RecordHeartRate:
			if hr := v.Uint8(); hr != 255 {
				s.HR = float32(hr)
			}
		case fieldnum.RecordSpeed:
			if sp := v.Uint16(); sp != 65535 {
				s.Speed, s.Have = float32(sp)/1000, s.Have|schemas.HasSpeed
			}
		case fieldnum.RecordEnhancedSpeed:
			if sp := v.Uint32(); sp != 1<<32-1 {
				s.Speed, s.Have = float32(sp)/1000, s.Have|schemas.HasSpeed
			}
		}
	}
	if f.trace.Start.IsZero() {
		f.trace.Start = at
	}
	s.At = at.Sub(f.trace.Start)
	f.trace.Samples = append(f.trace.Samples, s)
}

func readFIT(tb testing.TB, b []byte) *schemas.Trace {
	tb.Helper()
	var f fitTrace
	dec := decoder.New(bytes.NewReader(b), decoder.WithMesgListener(&f), decoder.WithBroadcastOnly())
	for dec.Next() {
		if _, err := dec.DecodeWithContext(context.Background()); err != nil {
			tb.Fatal(err)
		}
	}
	return &f.trace
}

const lowBattery = "from_official_sdk/activity_lowbattery.fit"

// BenchmarkDecodeAndScoreLowBattery is the whole way for the 66-min activity of
// 3,976 records; set it beside BenchmarkBareDecodeLowBattery of the same run.
func BenchmarkDecodeAndScoreLowBattery(b *testing.B) {
	raw := fitFile(b, lowBattery)
	b.ReportAllocs()
	for b.Loop() {
		engine.Score(readFIT(b, raw), request())
	}
}

type nothing struct{ n int }

func (n *nothing) OnMesg(proto.Message) { n.n++ }

func BenchmarkBareDecodeLowBattery(b *testing.B) {
	raw := fitFile(b, lowBattery)
	b.ReportAllocs()
	for b.Loop() {
		dec := decoder.New(bytes.NewReader(raw), decoder.WithMesgListener(&nothing{}), decoder.WithBroadcastOnly())
		for dec.Next() {
			if _, err := dec.Decode(); err != nil {
				b.Fatal(err)
			}
		}
	}
}

func benchmarkScore(b *testing.B, tr *schemas.Trace, req engine.Request) {
	b.Helper()
	b.ReportAllocs()
	for b.Loop() {
		engine.Score(tr, req)
	}
}

func request() engine.Request {
	return engine.Request{Protocol: &schemas.Protocol{
		ID: "run-4min", Regimen: schemas.Continuous, Progression: schemas.Fixed,
		Stages: []schemas.Stage{{Duration: 4 * time.Minute, SpeedKMH: schemas.Num(12)}},
		HRex:   schemas.FinalMean, HRexWindow: time.Minute, Recovery: []time.Duration{time.Minute},
		Posture: schemas.Standing, EndWindow: 5 * time.Second, RecoveryWindow: 5 * time.Second,
		BandLow: 0.75, BandHigh: 0.85, MinCoverage: 0.8,
	}, HRmax: schemas.HRmax{BPM: schemas.Num(195), Source: schemas.HRmaxMeasured}}
}

func BenchmarkScoreLowBattery(b *testing.B) {
	benchmarkScore(b, readFIT(b, fitFile(b, lowBattery)), request())
}

func BenchmarkScoreSession(b *testing.B) {
	s := simulate.Make(simulate.Scenarios[0], 1, 7)
	b.Logf("%d samples", len(s.Trace.Samples))
	benchmarkScore(b, s.Trace, engine.Request{Protocol: s.Protocol, HRmax: s.HRmax})
}

// BenchmarkLoadSession is the training load of the session that
// BenchmarkScoreSession scores.
func BenchmarkLoadSession(b *testing.B) {
	s := simulate.Make(simulate.Scenarios[0], 1, 7)
	a := &schemas.Athlete{Sex: schemas.Male, HRmax: s.HRmax, HRrest: schemas.Num(50)}
	b.ReportAllocs()
	for b.Loop() {
		engine.Load(s.Trace, a, 2026)
	}
}
