package formats

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"canter.example/schemas"
)

// TestFreedMemoryIsUsedAgain: traces are the same in memory that others' samples
// and intervals lie in, and traces that nobody gave back stay as they are.
func TestFreedMemoryIsUsedAgain(t *testing.T) {
	names, err := filepath.Glob("../../testdata/formats/good/*")
	names = slices.DeleteFunc(names, func(n string) bool { return strings.HasSuffix(n, ".json") })
	if err != nil || len(names) < 10 {
		t.Fatalf("%d good inputs: %v", len(names), err)
	}
	decode := func(name string) []schemas.Trace {
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		traces, _, err := Decode(name, content, Options{Date: time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC), DateOrder: DayFirst})
		if err != nil {
			t.Fatal(err)
		}
		return traces
	}
	var want, held [][]schemas.Trace
	for _, name := range names {
		want = append(want, decode(name))
	}
	for range 20 {
		for i, name := range names {
			other := decode(names[(i+7)%len(names)])
			for k := range other {
				for j := range other[k].Samples {
					other[k].Samples[j] = schemas.Sample{At: 1, HR: 2, Speed: 3, Cadence: 4, Have: 255}
				}
				for j := range other[k].RR {
					other[k].RR[j] = schemas.RR{At: 5, Interval: 6}
				}
			}
			Free(other)
			if len(other) > 0 && (other[0].Samples != nil || other[0].RR != nil) {
				t.Fatal("samples are still there after Free")
			}
			held = append(held, decode(name))
		}
	}
	for i, traces := range held {
		name := names[i%len(names)]
		if diff := cmp.Diff(want[i%len(names)], traces); diff != "" {
			t.Fatalf("%s: -in new memory +in used memory\n%s", name, diff)
		}
	}
}

// TestMemoryFarTooLargeIsNotKept: one long recording must not stay for good.
func TestMemoryFarTooLargeIsNotKept(t *testing.T) {
	long := []schemas.Trace{{Samples: make([]schemas.Sample, 5, mostKept+1), RR: make([]schemas.RR, 5, mostKept+1)}}
	Free(long)
	for range 100 {
		if s, rr := roomForSamples(0), roomForIntervals(0); cap(s) > mostKept || cap(rr) > mostKept {
			t.Fatalf("room for %d samples and %d intervals", cap(s), cap(rr))
		}
	}
}
