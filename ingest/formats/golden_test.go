package formats

import (
	"encoding/json"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"canter.example/schemas"
)

// keptBytes is the longest made input that is kept as a file.
const keptBytes = 64 << 10

func testOptions(tb testing.TB) Options {
	tb.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		tb.Fatal(err)
	}
	return Options{Zone: zone, Date: time.Date(2025, 9, 2, 0, 0, 0, 0, zone)}
}

// goldenTrace is a trace as the goldens show it.
type goldenTrace struct {
	Part, Label, Start string
	Damage             string   `json:",omitempty"`
	Clock              string   `json:",omitempty"`
	Manufacturer       string   `json:",omitempty"`
	Product            string   `json:",omitempty"`
	Serials            []string `json:",omitempty"`
	Samples            []string
	Laps               []string `json:",omitempty"`
	RR                 []string `json:",omitempty"`
	Notes              []string `json:",omitempty"`
}

var damageWords = map[schemas.DamageKind]string{schemas.EndsEarly: "ends early", schemas.Altered: "altered"}

type golden struct {
	Format string
	Error  string        `json:",omitempty"`
	Traces []goldenTrace `json:",omitempty"`
}

func goldenOf(traces []schemas.Trace, format string, err error) golden {
	g := golden{Format: format}
	if err != nil {
		g.Error = err.Error()
	}
	for _, t := range traces {
		gt := goldenTrace{
			Part: t.Part, Label: t.Label, Start: t.Start.Format(time.RFC3339Nano), Damage: damageWords[t.Damage.Kind], Clock: t.Clock,
			Manufacturer: t.Device.Manufacturer, Product: t.Device.Product, Serials: t.Device.Serials, Notes: t.Notes,
		}
		for _, s := range t.Samples {
			gt.Samples = append(gt.Samples, sprintSample(s.At, s.HR, s.Speed, s.Cadence,
				s.Have&schemas.HasSpeed != 0, s.Have&schemas.HasCadence != 0))
		}
		for _, l := range t.Laps {
			gt.Laps = append(gt.Laps, strings.TrimSuffix(l.Start.String()+" to "+l.End.String()+" "+map[bool]string{true: "manual"}[l.Manual], " "))
		}
		for _, r := range t.RR {
			gt.RR = append(gt.RR, r.At.String()+" "+r.Interval.String())
		}
		g.Traces = append(g.Traces, gt)
	}
	return g
}

// checkGolden compares with a golden file, or rewrites it.
func checkGolden[T any](t *testing.T, path string, got T) {
	t.Helper()
	if *update {
		b, err := json.MarshalIndent(got, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, append(b, '\n'), 0o600); err != nil {
			t.Fatal(err)
		}
		return
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v (run with -update to make it)", err)
	}
	var want T
	if err := json.Unmarshal(b, &want); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("differs from %s (-want +got):\n%s", path, d)
	}
}

// keepMade writes the made inputs that are small, and returns the others.
func keepMade(t *testing.T, folder string, made map[string][]byte) map[string][]byte {
	t.Helper()
	large := map[string][]byte{}
	for name, content := range made {
		if len(content) > keptBytes {
			large[name] = content
			continue
		}
		path := filepath.Join(testdata, folder, name)
		if *update {
			if err := os.WriteFile(path, content, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := os.Stat(path); err != nil {
			t.Errorf("%v (run with -update to make it)", err)
		}
	}
	return large
}

func TestGoodFilesReadToTheirGoldens(t *testing.T) {
	inputs := corpus(t, "good", keepMade(t, "good", madeGood(t)))
	if len(inputs) < 35 {
		t.Fatalf("only %d good inputs", len(inputs))
	}
	for name, content := range inputs {
		t.Run(name, func(t *testing.T) {
			traces, format, err := Decode(name, content, testOptions(t))
			if err != nil {
				t.Fatal(err)
			}
			checkTraces(t, traces)
			checkGolden(t, filepath.Join(testdata, "good", name+".golden.json"), goldenOf(traces, format, err))
		})
	}
}

// TestBadFilesSayWhatIsWrong: every bad input is an error that names the file,
// the place and what to do, or gives what can be read, marked as damaged.
func TestBadFilesSayWhatIsWrong(t *testing.T) {
	inputs := corpus(t, "bad", keepMade(t, "bad", madeBad(t)))
	if len(inputs) < 60 {
		t.Fatalf("only %d bad inputs", len(inputs))
	}
	all := map[string]golden{}
	for _, name := range slices.Sorted(maps.Keys(inputs)) {
		traces, format, err := Decode(name, inputs[name], testOptions(t))
		g := goldenOf(traces, format, err)
		for i := range g.Traces { // of damaged ones the notes are of interest
			g.Traces[i].Samples = nil
		}
		all[name] = g
		if err == nil {
			checkTraces(t, traces)
			for _, tr := range traces {
				if tr.Damage.Kind == schemas.Sound || !strings.Contains(strings.Join(tr.Notes, "\n"), damagedNote) {
					t.Errorf("%s was read as if it were sound: %q", name, tr.Notes)
				}
			}
			continue
		}
		checkError(t, name, err)
	}
	checkGolden(t, filepath.Join(testdata, "bad.golden.json"), all)
}

// checkError checks that an error is one for people.
func checkError(tb testing.TB, name string, err error) {
	tb.Helper()
	var e *Error
	switch {
	case !errors.As(err, &e):
		tb.Errorf("%s: the error is a %T", name, err)
	case e.File != name || e.What == "" || e.Do == "" || e.Kind == nil || !errors.Is(err, e.Kind):
		tb.Errorf("%s: not all is said: %+v", name, e)
	case !strings.HasPrefix(err.Error(), name+": ") || strings.ContainsAny(err.Error(), "\n\x00"):
		tb.Errorf("%s: %q is not one line about the file", name, err)
	case e.Cause != nil && strings.HasPrefix(e.Cause.Error(), "panic:"):
		tb.Errorf("%s: %v", name, e.Cause)
	}
}

// checkTraces checks what holds for all traces whatever the file.
func checkTraces(tb testing.TB, traces []schemas.Trace) {
	tb.Helper()
	parts := map[string]bool{}
	for i := range traces {
		t := &traces[i]
		if parts[t.Part] {
			tb.Errorf("part %q twice", t.Part)
		}
		parts[t.Part] = true
		if len(t.Samples) == 0 || t.Samples[0].At != 0 {
			tb.Errorf("part %q has no sample at its start", t.Part)
		}
		for _, s := range t.Samples {
			if !(s.HR >= 0 && s.HR < 254) || !(s.Speed >= 0) || !(s.Cadence >= 0) {
				tb.Errorf("part %q holds a sample that none can be: %+v", t.Part, s)
				break
			}
			if !plausibleTime(t.Start.Add(s.At)) {
				tb.Errorf("part %q holds a sample at %v", t.Part, t.Start.Add(s.At))
				break
			}
		}
	}
}
