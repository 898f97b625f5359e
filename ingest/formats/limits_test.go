package formats

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"runtime"
	"runtime/metrics"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/muktihari/fit/kit/hash/crc16"
)

// rawFIT frames a body as a FIT file with a true checksum.
func rawFIT(body []byte) []byte {
	b := make([]byte, 14, 14+len(body)+2)
	b[0], b[1] = 14, 0x20
	binary.LittleEndian.PutUint32(b[4:], uint32(len(body)))
	copy(b[8:], ".FIT")
	b = append(b, body...)
	h := crc16.New()
	_, _ = h.Write(body)
	return binary.LittleEndian.AppendUint16(b, h.Sum16())
}

// definition of a local message, with one-byte fields of the numbers given.
func definition(local byte, mesg uint16, developer int, fields ...byte) []byte {
	b := []byte{0x40 | local, 0, 0, byte(mesg), byte(mesg >> 8), byte(len(fields))}
	if developer > 0 {
		b[0] |= 0x20
	}
	for _, f := range fields {
		b = append(b, f, 1, 0x02)
	}
	if developer > 0 {
		b = append(b, byte(developer))
		for i := range developer {
			b = append(b, byte(i), 1, 7)
		}
	}
	return b
}

// hugeInputs are as large as is read, and shaped to cost as much as they can.
func hugeInputs(tb testing.TB) map[string]func() []byte {
	const size = 32<<20 - 4096
	fill := func(head, unit, tail string) []byte {
		return []byte(head + strings.Repeat(unit, (size-len(head)-len(tail))/len(unit)) + tail)
	}
	return map[string]func() []byte{
		"FIT of records without fields": func() []byte {
			return rawFIT(append(definition(0, 20, 0), make([]byte, size)...))
		},
		"FIT of unknown one-byte messages": func() []byte {
			return rawFIT(append(definition(0, 0xff00, 0, 9), bytes.Repeat([]byte{0, 1}, size/2)...))
		},
		"FIT of records": func() []byte {
			b := []byte{0x40, 0, 0, 20, 0, 2, 253, 4, 0x86, 3, 1, 2}
			for i := range size / 6 {
				b = append(binary.LittleEndian.AppendUint32(append(b, 0), uint32(1e9)+uint32(i)), 120)
			}
			return rawFIT(b)
		},
		"FIT of field descriptions": func() []byte {
			return rawFIT(append(definition(0, 206, 0, 0, 1, 2), bytes.Repeat([]byte{0, 1, 2, 2}, size/4)...))
		},
		"FIT of developer fields": func() []byte {
			b := definition(0, 206, 0, 0, 1, 2)
			for i := range 1000 {
				b = append(b, 0, 7, byte(i), 2)
			}
			b = append(b, definition(1, 20, 255)...)
			return rawFIT(append(b, bytes.Repeat(append([]byte{1}, make([]byte, 255)...), (size-len(b))/256)...))
		},
		"FIT of definitions": func() []byte {
			return rawFIT(bytes.Repeat(definition(0, 20, 0), size/6))
		},
		"FIT of beat intervals": func() []byte {
			b := []byte{0x40, 0, 0, 78, 0, 1, 0, 254, 0x84}
			return rawFIT(append(b, bytes.Repeat(append([]byte{0}, bytes.Repeat([]byte{1, 2}, 127)...), size/255)...))
		},
		"XML of elements":   func() []byte { return fill("<gpx>", "<a/>", "</gpx>") },
		"XML of attributes": func() []byte { return fill("<gpx>", "<a "+strings.Repeat(`b="" `, 1000)+"/>", "</gpx>") },
		"XML of text":       func() []byte { return fill("<gpx>", "x", "</gpx>") },
		"XML of entities":   func() []byte { return fill("<gpx>", "<a>"+strings.Repeat("&lt;", 1000)+"</a>", "</gpx>") },
		"XML of comments":   func() []byte { return fill("<gpx>", "<!---->", "</gpx>") },
		"XML of track points": func() []byte {
			return fill("<gpx>", "<trkpt><time>2025-09-02T08:00:00Z</time><hr>120</hr></trkpt>", "</gpx>")
		},
		"XML of laps": func() []byte {
			return fill("<TrainingCenterDatabase>", `<Lap StartTime="2025-09-02T08:00:00Z"/>`, "</TrainingCenterDatabase>")
		},
		"CSV of short lines": func() []byte { return fill("time,hr\n", "1,2\n", "") },
		"CSV of blank lines": func() []byte { return fill("time,hr\n", "\n", "1,2\n") },
		"CSV of no table":    func() []byte { return fill("", "time hr\n", "") },
		"CSV of commas":      func() []byte { return fill("", "time"+strings.Repeat(",", 60_000)+"\n", "") },
		"CSV in open quotes": func() []byte { return fill("time,hr\n\"", "x\n", "") },
		"CSV of athletes": func() []byte {
			var b bytes.Buffer
			b.WriteString("time,athlete,hr\n")
			for i := 0; b.Len() < size; i++ {
				fmt.Fprintf(&b, "1,athlete number %d,2\n", i)
			}
			return b.Bytes()
		},
		"CSV of spellings": func() []byte {
			var b bytes.Buffer
			b.WriteString("time,athlete,hr\n")
			for i := 0; b.Len() < size; i++ {
				fmt.Fprintf(&b, "1,%sa%sb,2\n", strings.Repeat(" ", i%500), strings.Repeat(" ", i/500%500+1))
			}
			return b.Bytes()
		},
		"wide CSV": func() []byte {
			return fill("time"+strings.Repeat(",x", 400)+"\n", "1"+strings.Repeat(",9", 400)+"\n", "")
		},
		"CSV of slash dates": func() []byte { return fill("time,hr\n", "1/2/2025 10:00:00,2\n", "") },
		"CSV of jumping times": func() []byte {
			var b bytes.Buffer
			b.WriteString("time,hr\n")
			for i := 0; b.Len() < size; i++ {
				fmt.Fprintf(&b, "%d,2\n", 1_000_000_000+(i%60)*100_000)
			}
			return b.Bytes()
		},
		"UTF-16": func() []byte {
			return append([]byte{0xff, 0xfe}, fill("t\x00,\x00h\x00r\x00\n\x00", "1\x00,\x00", "")...)
		},
		"ZIP of track points": func() []byte {
			doc := fill("<gpx>", "<trkpt><time>2025-09-02T08:00:00Z</time><hr>120</hr>                       </trkpt>", "</gpx>")
			return zipOf(tb, "a.gpx", doc, "b.gpx", doc, "c.gpx", doc)
		},
		"ZIP of entries": func() []byte {
			var files []any
			for i := range 1900 {
				files = append(files, fmt.Sprint(i), "x")
			}
			return zipOf(tb, files...)
		},
		"ZIP of bombs": func() []byte {
			inner := zipOf(tb, "a", make([]byte, 31<<20))
			return zipOf(tb, "a.zip", inner, "b.zip", inner, "c.zip", inner)
		},
	}
}

// TestHugeInputsStayWithinBounds watches the heap while the worst inputs are
// read. The bound is 256 MiB for all that reading adds, garbage included.
// Processor times are logged, not asserted.
func TestHugeInputsStayWithinBounds(t *testing.T) {
	opt := testOptions(t)
	for name, build := range hugeInputs(t) {
		t.Run(name, func(t *testing.T) {
			content := build()
			runtime.GC()
			before := heapObjects()
			stop, peak := make(chan struct{}), make(chan uint64)
			go watchHeap(stop, peak)
			began := processorTime(t)
			traces, _, err := Decode("huge", content, opt)
			took := processorTime(t) - began
			close(stop)
			most := max(<-peak, heapObjects())
			used := int64(most) - int64(before)
			runtime.KeepAlive(traces)
			t.Logf("%4d MB in, %4d MB more on the heap, %v, %d traces, %v", len(content)>>20, used>>20, took.Round(time.Millisecond), len(traces), err)
			if used > 256<<20 {
				t.Errorf("%d MB on the heap", used>>20)
			}
			var e *Error
			if err != nil && (!errors.As(err, &e) || e.Cause != nil && strings.HasPrefix(e.Cause.Error(), "panic:")) {
				t.Errorf("%v", err)
			}
		})
	}
}

// watchHeap samples the heap until told to stop, and then says the most it saw.
func watchHeap(stop <-chan struct{}, peak chan<- uint64) {
	var most uint64
	tick := time.NewTicker(2 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			most = max(most, heapObjects())
		case <-stop:
			peak <- most
			return
		}
	}
}

// processorTime of this process so far: a busy machine does not lengthen it.
func processorTime(t *testing.T) time.Duration {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		t.Fatal(err)
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

func heapObjects() uint64 {
	s := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	metrics.Read(s)
	return s[0].Value.Uint64()
}

func TestLimitsAreKept(t *testing.T) {
	points := "<gpx>" + strings.Repeat("<trkpt><time>2025-09-02T08:00:00Z</time><hr>120</hr></trkpt>", 20) + "</gpx>"
	for _, c := range []struct {
		name    string
		content []byte
		limits  Limits
		kind    error
	}{
		{"bytes", []byte(points), Limits{Bytes: 100}, ErrTooLarge},
		{"samples of XML", []byte(points), Limits{Samples: 19}, ErrTooMany},
		{"samples of FIT", plainFIT(t, 20), Limits{Samples: 19}, ErrTooMany},
		{"samples of CSV", []byte(csvOf2), Limits{Samples: 1}, ErrTooMany},
		{"beat intervals", richFIT(t), Limits{Samples: 12}, ErrTooMany},
		{"strap readings", strapFIT(t), Limits{Samples: 8}, ErrTooMany},
		{"elements", []byte(points), Limits{Elements: 50}, ErrTooMany},
		{"depth", []byte(points), Limits{Depth: 2}, ErrTooDeep},
		{"a long tag", []byte("<gpx " + strings.Repeat("a", 200) + "='b'/>"), Limits{Token: 100}, ErrTooLarge},
		{"a long text in pieces", []byte("<gpx>" + strings.Repeat("xxxxxxxxx<!-- -->", 20) + "</gpx>"), Limits{Token: 100}, ErrTooLarge},
		{"a long line", []byte("time,hr\n" + strings.Repeat("1", 200)), Limits{Token: 100}, ErrTooLarge},
		{"traces", []byte("time,athlete,hr\n1,a,2\n1,b,2\n"), Limits{Traces: 1}, ErrTooMany},
		{"entries", zipOf(t, "a", "x", "b", "y"), Limits{Entries: 1}, ErrTooMany},
		{"entries of inner archives", zipOf(t, "a.zip", zipOf(t, "a", "x", "b", "y")), Limits{Entries: 2}, ErrTooMany},
		{"nesting", zipOf(t, "a.zip", zipOf(t, "a.csv", csvOf2)), Limits{Nesting: 1}, ErrTooDeep},
		{"unpacked bytes", zipOf(t, "a.csv", csvOf2, "b.csv", csvOf2), Limits{Unpacked: 100}, ErrTooLarge},
		{"traces of an archive", zipOf(t, "a.csv", csvOf2, "b.csv", csvOf2), Limits{Traces: 1}, ErrTooMany},
	} {
		t.Run(c.name, func(t *testing.T) {
			opt := testOptions(t)
			if _, _, err := Decode("x", c.content, opt); err != nil && c.name != "a long text in pieces" && !strings.Contains(c.name, "long") && !strings.Contains(c.name, "entries") {
				t.Fatalf("not even read without limits: %v", err)
			}
			opt.Limits = c.limits
			_, _, err := Decode("x", c.content, opt)
			if !errors.Is(err, c.kind) {
				t.Errorf("got %v, want %v", err, c.kind)
			}
		})
	}
}
