package formats

import (
	"reflect"
	"testing"
)

// fuzzSeeds adds the good and the bad inputs that are one format's own.
func fuzzSeeds(f *testing.F, want func(name, format string) bool) {
	f.Helper()
	opt := testOptions(f)
	n := 0
	for _, folder := range []string{"good", "bad"} {
		for name, content := range corpus(f, folder, nil) {
			if _, format, _ := Decode(name, content, opt); want(name, format) {
				f.Add(content)
				n++
			}
		}
	}
	if n < 5 {
		f.Fatalf("only %d seeds", n)
	}
}

// fuzzDecode checks one input: an error for people or sound traces, the same
// again when read again, and no panic, which Decode turns into an error.
func fuzzDecode(t *testing.T, content []byte, opt Options) {
	traces, format, err := Decode("fuzz", content, opt)
	if err != nil {
		checkError(t, "fuzz", err)
		if traces != nil {
			t.Error("traces beside an error")
		}
		return
	}
	if format == "" || len(traces) == 0 {
		t.Errorf("no error, and %d traces of format %q", len(traces), format)
	}
	checkTraces(t, traces)
	again, _, err := Decode("fuzz", content, opt)
	if err != nil || !reflect.DeepEqual(traces, again) {
		t.Errorf("read again it differs: %v", err)
	}
}

func FuzzFIT(f *testing.F) {
	fuzzSeeds(f, func(_, format string) bool { return format == FIT })
	f.Fuzz(func(t *testing.T, content []byte) { fuzzDecode(t, content, Options{}) })
}

// FuzzFITBody fuzzes the messages below a sound header and checksum.
func FuzzFITBody(f *testing.F) {
	for _, content := range [][]byte{richFIT(f), strapFIT(f), cyclingFIT(f)} {
		f.Add(content[14 : len(content)-2])
	}
	f.Fuzz(func(t *testing.T, body []byte) { fuzzDecode(t, rawFIT(body), Options{}) })
}

func FuzzTCX(f *testing.F) {
	fuzzSeeds(f, func(_, format string) bool { return format == TCX })
	f.Fuzz(func(t *testing.T, content []byte) { fuzzDecode(t, content, Options{}) })
}

func FuzzGPX(f *testing.F) {
	fuzzSeeds(f, func(_, format string) bool { return format == GPX })
	f.Fuzz(func(t *testing.T, content []byte) { fuzzDecode(t, content, Options{}) })
}

func FuzzCSV(f *testing.F) {
	fuzzSeeds(f, func(_, format string) bool { return format == CSV })
	opt := testOptions(f)
	f.Fuzz(func(t *testing.T, content []byte) { fuzzDecode(t, content, opt) })
}

func FuzzZIP(f *testing.F) {
	fuzzSeeds(f, func(_, format string) bool { return format == ZIP })
	opt := testOptions(f)
	f.Fuzz(func(t *testing.T, content []byte) { fuzzDecode(t, content, opt) })
}
