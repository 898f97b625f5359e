package engine

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"testing"
	"time"

	"canter.example/schemas"
)

// traceFrom makes any trace out of bytes: times forwards, backwards and far
// off, heart rates of any bits, laps and beats.
func traceFrom(b []byte) *schemas.Trace {
	tr := &schemas.Trace{Start: day}
	at := time.Duration(0)
	word := func() uint64 {
		var w [8]byte
		n := copy(w[:], b)
		b = b[n:]
		return binary.LittleEndian.Uint64(w[:])
	}
	for len(b) > 0 && len(tr.Samples) < 20000 {
		w := word()
		var m schemas.Sample
		switch w & 15 {
		case 0:
			at += time.Duration(w >> 20)
		case 1:
			at -= time.Duration(w >> 30)
		case 2:
			at = time.Duration(int64(w))
		case 3:
			m.HR = math.Float32frombits(uint32(w >> 16))
		case 4:
			tr.Laps = append(tr.Laps, schemas.Lap{Start: at, End: at + time.Duration(int64(w)), Manual: w&16 != 0})
		case 5:
			tr.RR = append(tr.RR, schemas.RR{At: at, Interval: time.Duration(w >> 32)})
		case 6:
			// A whole run at once, so that the search has something to find.
			f := run(90, 120+float64(w>>8&63), 10+float64(w>>16&63), 20+float64(w>>24&63))
			for k := 560; k < 960; k++ {
				at += time.Second
				tr.Samples = append(tr.Samples, schemas.Sample{At: at, HR: float32(math.Round(f(float64(k)) + float64(w>>32>>(k%24)&3)))})
			}
		default:
			at += time.Second
		}
		if m.HR == 0 {
			m.HR = float32(w >> 8 & 255)
		}
		m.At = at
		m.Have = schemas.Channels(w >> 5 & 7)
		m.Speed = math.Float32frombits(uint32(w >> 24))
		m.Cadence = float32(w >> 40 & 255)
		tr.Samples = append(tr.Samples, m)
	}
	return tr
}

// FuzzScore: whatever the trace, there is no panic, no NaN, a test or a reason,
// and an explanation that JSON can carry.
func FuzzScore(f *testing.F) {
	seed := func(words ...uint64) {
		var b []byte
		for _, w := range words {
			b = binary.LittleEndian.AppendUint64(b, w)
		}
		f.Add(b, int16(0), uint8(0))
		f.Add(b, int16(700), uint8(1))
		f.Add(b, int16(-300), uint8(2))
	}
	seed()
	seed(6 | 40<<8 | 20<<16 | 40<<24 | 0x1234567<<32)
	seed(6|50<<8|5<<16|10<<24, 2|1<<62, 6|40<<8)
	seed(4|60<<40, 5|1<<62, 5|800<<32, 3|0x7fc0<<16<<16, 1|1<<60, 0)
	f.Fuzz(func(t *testing.T, b []byte, hint int16, kind uint8) {
		if len(b) > 1<<16 {
			return
		}
		req := Request{Protocol: fourMinutes(), HRmax: measured(190), Explain: true}
		switch kind % 4 {
		case 1:
			req.Start = day.Add(time.Duration(hint) * time.Second)
		case 2:
			req.Around, req.Within = day.Add(time.Duration(hint)*time.Second), 5*time.Minute
		case 3:
			req.Session = &Hint{Start: day.Add(time.Duration(hint) * time.Second), SD: 2 * time.Second, Traces: 4}
			req.Protocol.Regimen, req.Protocol.HRex = schemas.Intermittent, schemas.StageMean
			req.Protocol.Stages = []schemas.Stage{{Duration: time.Minute}, {Duration: 20 * time.Second, Rest: true}, {Duration: time.Minute}}
		}
		tr := traceFrom(b)
		r := Score(tr, req)
		if (len(r.Tests) == 0) == (r.None == nil) {
			t.Fatalf("%d tests and reason %v", len(r.Tests), r.None)
		}
		if r.None != nil && r.None.Text[:min(len(r.None.Text), 26)] == "the trace could not be sco" {
			t.Fatal(r.None.Text)
		}
		for i := range r.Tests {
			checkOutcome(t, &r.Tests[i].Outcome)
		}
		if _, err := json.Marshal(r.Explanation); err != nil {
			t.Fatal(err)
		}
		if _, err := json.Marshal(r.Tests); err != nil {
			t.Fatal(err)
		}
		_ = r.Explanation.Text()
		l := Load(tr, &schemas.Athlete{BirthYear: 2000, HRrest: schemas.Num(50), Sex: schemas.Female}, 2026)
		if _, err := json.Marshal(l); err != nil {
			t.Fatal(err)
		}
		if len(l.Reasons) > 0 && l.Reasons[0].Code == schemas.ReasonFileDamaged {
			t.Fatal(l.Reasons[0].Text)
		}
	})
}

func checkOutcome(t *testing.T, o *schemas.Outcome) {
	t.Helper()
	for name, n := range map[string]schemas.Number{"HRex": o.HRexBPM, "end HR": o.EndHR, "peak": o.PeakBPM} {
		if v, ok := n.Get(); ok && (v < lowestHR || v > highestHR) {
			t.Fatalf("%s is %v", name, v)
		}
	}
	if o.Coverage < 0 || o.Coverage > 1 || math.IsNaN(o.Coverage) || o.StartConfidence < 0 || o.StartConfidence > 1 || math.IsNaN(o.StartConfidence) {
		t.Fatalf("coverage %v, confidence %v", o.Coverage, o.StartConfidence)
	}
	if v, ok := o.HRexSE.Get(); ok && v < 0 {
		t.Fatalf("standard error %v", v)
	}
	if o.Quality == schemas.Good && !o.HRexBPM.Present() {
		t.Fatal("good without HRex")
	}
}
