package judge

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/muktihari/fit/decoder"
	"github.com/muktihari/fit/profile/basetype"
	"github.com/muktihari/fit/profile/filedef"
)

// TestSteadyRunsLookLikeARealOne sets the texture of invented steady running
// beside the only real steady run at hand: the triathlon file that comes with
// the muktihari/fit module, read from the module cache. Two measures: how long
// a value is held, as a random second meets it, and the SD about a moving
// mean of 31 s. Most 5-min pieces of the real run must lie within the range
// of the invented ones.
func TestSteadyRunsLookLikeARealOne(t *testing.T) {
	var held, rough []float64
	for i := range 400 {
		s := Make(*seed, i)
		if s.Group != Clean || s.Form.ID == "steps" || s.Form.ID == "shuttle" {
			continue
		}
		test := s.Plan.Tests[0]
		var hr []float64
		for _, v := range s.Seen[test.Start+60 : test.End] {
			hr = append(hr, math.Round(v))
		}
		held, rough = append(held, heldFor(hr)), append(rough, roughness(hr))
	}
	slices.Sort(held)
	slices.Sort(rough)
	ran := realRun(t)
	in, n := 0, 0
	for ; len(ran) >= 300; ran = ran[300:] {
		n++
		h, r := heldFor(ran[:300]), roughness(ran[:300])
		t.Logf("real: held %.1f s, rough %.2f bpm", h, r)
		if h >= held[0] && h <= held[len(held)-1] && r >= rough[0] && r <= rough[len(rough)-1] {
			in++
		}
	}
	t.Logf("invented: held %.1f, %.1f, %.1f s; rough %.2f, %.2f, %.2f bpm (least, median, most)", held[0], Quantile(held, 0.5),
		held[len(held)-1], rough[0], Quantile(rough, 0.5), rough[len(rough)-1])
	if n < 4 || in*2 < n {
		t.Errorf("%d of %d pieces of the real run look like the invented ones", in, n)
	}
}

// heldFor is the mean length in samples of the run of equal values that a
// random sample is in.
func heldFor(hr []float64) float64 {
	sum := 0
	for i := 0; i < len(hr); {
		j := i
		for j < len(hr) && hr[j] == hr[i] {
			j++
		}
		sum += (j - i) * (j - i)
		i = j
	}
	return float64(sum) / float64(len(hr))
}

// roughness is the SD about a centred mean of 31 samples.
func roughness(hr []float64) float64 {
	var sum float64
	for i := 15; i < len(hr)-15; i++ {
		d := hr[i] - Mean(hr[i-15:i+16])
		sum += d * d
	}
	return math.Sqrt(sum / float64(len(hr)-30))
}

// realRun is the heart rate of the last 25 min of the real file, its run.
func realRun(t *testing.T) []float64 {
	t.Helper()
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/muktihari/fit").Output()
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(dir)), "testdata", "from_garmin_forums", "triathlon_summary_last.fit"))
	if err != nil {
		t.Fatal(err)
	}
	file, err := decoder.New(bytes.NewReader(b)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	var hr []float64
	for _, r := range filedef.NewActivity(file.Messages...).Records {
		if r.HeartRate != basetype.Uint8Invalid {
			hr = append(hr, float64(r.HeartRate))
		}
	}
	if len(hr) < 1500 {
		t.Fatalf("%d readings in the real file", len(hr))
	}
	return hr[len(hr)-1500:]
}
