package chart_test

import (
	"bytes"
	"image/png"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"canter.example/alerts/chart"
	"canter.example/schemas"
)

// number draws absent, ordinary and absurd numbers.
func number(t *rapid.T, name string) schemas.Number {
	switch rapid.IntRange(0, 5).Draw(t, name+" kind") {
	case 0:
		return schemas.Number{}
	case 1:
		return schemas.Num(rapid.SampledFrom([]float64{0, -1, 1e-300, 1e300, -1e300, math.MaxFloat64, math.NaN(), math.Inf(1)}).Draw(t, name))
	default:
		return schemas.Num(rapid.Float64Range(20, 230).Draw(t, name))
	}
}

func outcome(t *rapid.T) schemas.Outcome {
	o := schemas.Outcome{
		Start:    rapid.SampledFrom([]time.Time{{}, first, first.AddDate(0, 0, 7), first.AddDate(40, 0, 0)}).Draw(t, "start"),
		Duration: time.Duration(rapid.SampledFrom([]int64{0, -1, 1, int64(4 * time.Minute), math.MaxInt64}).Draw(t, "duration")),
		HRexBPM:  number(t, "hrex"), HRexPct: number(t, "hrex %"), EndHR: number(t, "end"),
		HRmax:   schemas.HRmax{BPM: number(t, "hrmax"), Source: schemas.HRmaxEstimated},
		Quality: rapid.SampledFrom([]schemas.Quality{"", schemas.Good, schemas.Check, schemas.Reject}).Draw(t, "quality"),
		Staff:   rapid.SampledFrom([]schemas.StaffVerdict{"", schemas.Excluded, schemas.Accepted}).Draw(t, "staff"),
	}
	for range rapid.IntRange(0, 2).Draw(t, "recoveries") {
		o.Recovery = append(o.Recovery, schemas.Recovery{Seconds: rapid.SampledFrom([]int{0, 30, 60, -5, 1 << 40}).Draw(t, "delay"), BPM: number(t, "hrr")})
	}
	if rapid.Bool().Draw(t, "reasoned") {
		o.Reasons = []schemas.Reason{{Code: rapid.SampledFrom([]schemas.ReasonCode{schemas.ReasonNoTest, schemas.ReasonStuck}).Draw(t, "code"), Text: rapid.String().Draw(t, "text")}}
	}
	return o
}

func seconds(t *rapid.T) []schemas.TraceSecond {
	var out []schemas.TraceSecond
	at := rapid.IntRange(-130, 300).Draw(t, "from")
	for range rapid.IntRange(0, 12).Draw(t, "seconds") {
		out = append(out, schemas.TraceSecond{Second: at, Raw: number(t, "raw"), Clean: number(t, "clean"), Dropped: rapid.SampledFrom([]string{"", "", "spike", "gap, bridged for display"}).Draw(t, "dropped")})
		at += rapid.SampledFrom([]int{1, 1, 1, 0, 7, -3, 1 << 50}).Draw(t, "step")
	}
	return out
}

func protocol(t *rapid.T) *schemas.Protocol {
	if rapid.IntRange(0, 4).Draw(t, "protocol") == 0 {
		return nil
	}
	p := *steady
	p.HRex = rapid.SampledFrom([]schemas.HRexMethod{schemas.FinalMean, schemas.PeakMean, schemas.StageMean, ""}).Draw(t, "method")
	p.HRexWindow = time.Duration(rapid.SampledFrom([]int64{0, int64(time.Second), int64(time.Minute), math.MaxInt64}).Draw(t, "window"))
	if rapid.Bool().Draw(t, "staged") {
		p.Stages = []schemas.Stage{{Duration: time.Minute}, {Duration: time.Minute, Rest: true}, {Duration: 2 * time.Minute}}
	}
	return &p
}

func person(t *rapid.T) chart.Person {
	return chart.Person{ID: rapid.String().Draw(t, "id"), Name: rapid.String().Draw(t, "name")}
}

func comparison(t *rapid.T) *schemas.Comparison {
	if rapid.IntRange(0, 4).Draw(t, "compared") == 0 {
		return nil
	}
	return &schemas.Comparison{
		Measure: schemas.MeasureHRex, Unit: rapid.SampledFrom([]string{"bpm", "% points of HRmax"}).Draw(t, "unit"),
		State: rapid.SampledFrom([]schemas.ComparisonState{schemas.Building, schemas.Inside, schemas.Higher}).Draw(t, "state"),
		Value: number(t, "value"), Change: number(t, "change"), Mean: number(t, "mean"), Z: number(t, "z"), PredLow: number(t, "low"), PredHigh: number(t, "high"), TE: number(t, "te"), SWC: number(t, "swc"),
	}
}

func size(t *rapid.T) chart.Size {
	return chart.Size{Width: rapid.SampledFrom([]int{0, -1, 1, 300, 620, 1 << 40}).Draw(t, "width") & 0xFFF, Type: rapid.IntRange(-3, 60).Draw(t, "type")}
}

// anything draws one of the four pictures from any data at all.
func anything(t *rapid.T) *chart.Picture {
	n := rapid.IntRange(0, 5).Draw(t, "tests")
	switch rapid.IntRange(0, 3).Draw(t, "picture") {
	case 0:
		return chart.Trace(chart.TraceData{Who: person(t), Outcome: outcome(t), Seconds: seconds(t), Protocol: protocol(t), Size: size(t)})
	case 1:
		d := chart.SessionData{Title: rapid.String().Draw(t, "title"), Protocol: protocol(t), Size: size(t)}
		for range n {
			d.Tests = append(d.Tests, chart.SessionTest{Who: person(t), Outcome: outcome(t), Seconds: seconds(t)})
		}
		return chart.Session(d)
	case 2:
		d := chart.HistoryData{Who: person(t), Protocol: protocol(t), Size: size(t)}
		for range n {
			ht := chart.HistoryTest{Outcome: outcome(t)}
			if c := comparison(t); c != nil {
				ht.Assessment = &schemas.Assessment{Comparisons: []schemas.Comparison{*c}}
			}
			d.Tests = append(d.Tests, ht)
			d.Notes = append(d.Notes, chart.Note{At: ht.Outcome.Start, Text: rapid.String().Draw(t, "note")})
		}
		return chart.History(d)
	default:
		d := chart.SquadData{Title: rapid.String().Draw(t, "title"), Measure: schemas.MeasureHRex, Shift: number(t, "shift"), Size: size(t)}
		for range n {
			d.Tests = append(d.Tests, chart.SquadTest{Who: person(t), Outcome: outcome(t), Comparison: comparison(t)})
		}
		return chart.Squad(d)
	}
}

// drawn checks that a picture of any data at all is XML without NaN, and
// a readable PNG.
func drawn(t *rapid.T) {
	p := anything(t)
	svg, err := p.Inline()
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"NaN", "Inf"} {
		for _, path := range bytes.Split(svg, []byte(`d="`))[1:] {
			if d, _, _ := bytes.Cut(path, []byte(`"`)); bytes.Contains(d, []byte(bad)) {
				t.Fatalf("%s in a path: %s", bad, d)
			}
		}
	}
	if len(svg) > 1<<20 {
		t.Fatalf("%d bytes of SVG", len(svg))
	}
	if rapid.IntRange(0, 9).Draw(t, "png") > 0 { // they take long
		return
	}
	b, err := p.PNG()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := png.DecodeConfig(bytes.NewReader(b)); err != nil {
		t.Fatal(err)
	}
}

func TestAnyDataGiveAPicture(t *testing.T) { rapid.Check(t, drawn) }

func FuzzPictures(f *testing.F) { f.Fuzz(rapid.MakeFuzz(drawn)) }
