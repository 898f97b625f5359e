package main

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"canter.example/cmd/canter/season"
	"canter.example/ingest/formats"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/scorer/engine"
	"github.com/muktihari/fit/decoder"
	"github.com/muktihari/fit/proto"
)

// rounds of each of two things that are compared, in turns, so that what
// disturbs one disturbs the other.
const rounds = 31

// decode compares decoding and scoring with the bare decoding of the same
// bytes: a real 66-minute activity that ships with the FIT library, and the
// same converted to TCX.
func (b *bench) decode(ctx context.Context) error {
	out, err := exec.CommandContext(ctx, "go", "list", "-m", "-f", "{{.Dir}}", "github.com/muktihari/fit").Output()
	if err != nil {
		return fmt.Errorf("the FIT module is not in the module cache: %w", err)
	}
	name := filepath.Join(strings.TrimSpace(string(out)), "testdata", "from_official_sdk", "activity_lowbattery.fit")
	tcxName := filepath.Join(b.dir, "activity.tcx")
	if out, err := exec.CommandContext(ctx, "gpsbabel", "-i", "garmin_fit,allpoints", "-f", name, "-o", "gtrnctr,course=0", "-F", tcxName).CombinedOutput(); err != nil {
		return fmt.Errorf("gpsbabel (apt-get install gpsbabel): %w\n%s", err, out)
	}
	for _, c := range []struct {
		what, file string
		target     float64
	}{{"FIT, 66 min: decode and score / bare streaming decode", name, 1.25}, {"the same as TCX: decode and score / xml.Unmarshal", tcxName, 1.0}} {
		content, err := os.ReadFile(c.file)
		if err != nil {
			return err
		}
		ours, bares := make([]time.Duration, rounds), make([]time.Duration, rounds)
		for i := range rounds {
			begin := time.Now()
			if err := bare(c.file, content); err != nil {
				return err
			}
			bares[i] = time.Since(begin)
			begin = time.Now()
			if err := score(c.file, content); err != nil {
				return err
			}
			ours[i] = time.Since(begin)
		}
		ratio := float64(median(ours)) / float64(median(bares))
		b.add(c.what, fmt.Sprintf("%.2f × (%.1f ms / %.1f ms)", ratio, ms(median(ours)), ms(median(bares))), fmt.Sprintf("≤ %.2f ×", c.target), ratio <= c.target)
	}
	return nil
}

func score(name string, content []byte) error {
	p := club.DefaultProtocol("four", 4*time.Minute)
	traces, _, err := formats.Decode(name, content, formats.Options{})
	if err != nil {
		return err
	}
	engine.Score(&traces[0], engine.Request{Protocol: &p, HRmax: schemas.HRmax{BPM: schemas.Num(195), Source: schemas.HRmaxMeasured}})
	return nil
}

type countMesg struct{ n int }

func (c *countMesg) OnMesg(proto.Message) { c.n++ }

// bare reads a file with a general library and nothing else: FIT streaming with
// its checksum, TCX and GPX into structs, CSV into cells.
func bare(name string, content []byte) error {
	switch {
	case strings.HasSuffix(name, ".fit"):
		_, err := decoder.New(bytes.NewReader(content), decoder.WithMesgListener(&countMesg{}), decoder.WithBroadcastOnly()).Decode()
		return err
	case strings.HasSuffix(name, ".tcx"):
		var doc struct {
			Points []struct {
				Time string   `xml:"Time"`
				HR   *float64 `xml:"HeartRateBpm>Value"`
			} `xml:"Activities>Activity>Lap>Track>Trackpoint"`
		}
		return xml.Unmarshal(content, &doc)
	case strings.HasSuffix(name, ".gpx"):
		var doc struct {
			Points []struct {
				Time string   `xml:"time"`
				HR   *float64 `xml:"extensions>TrackPointExtension>hr"`
			} `xml:"trk>trkseg>trkpt"`
		}
		return xml.Unmarshal(content, &doc)
	case strings.HasSuffix(name, ".zip"):
		return bareZIP(content)
	default:
		r := csv.NewReader(bytes.NewReader(content))
		r.FieldsPerRecord, r.LazyQuotes, r.Comma = -1, true, comma(content)
		_, err := r.ReadAll()
		return err
	}
}

func bareZIP(content []byte) error {
	z, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
	if err != nil {
		return err
	}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			return err
		}
		inner, err := io.ReadAll(io.LimitReader(r, 64<<20))
		if err != nil {
			return err
		}
		if err := bare(f.Name, inner); err != nil {
			return err
		}
	}
	return nil
}

func comma(content []byte) rune {
	head, _, _ := bytes.Cut(content, []byte("\n"))
	if bytes.Count(head, []byte(";")) > bytes.Count(head, []byte(",")) {
		return ';'
	}
	return ','
}

// bareAll reads files on all cores and returns how long it took. A season has
// the odd file that breaks off: it is read as far as it goes, by both sides.
func bareAll(files []season.File) (time.Duration, error) {
	var next, broken atomic.Int64
	var wg sync.WaitGroup
	begin := time.Now()
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := next.Add(1) - 1; int(i) < len(files); i = next.Add(1) - 1 {
				if bare(files[i].Path, files[i].Content) != nil {
					broken.Add(1)
				}
			}
		})
	}
	wg.Wait()
	took := time.Since(begin)
	if n := broken.Load(); n > int64(len(files)/100) {
		return 0, fmt.Errorf("the bare decoders could not read %d of %d files", n, len(files))
	}
	return took, nil
}

func median(d []time.Duration) time.Duration { return quantile(d, 0.5) }

// quantile is the nearest-rank quantile.
func quantile(d []time.Duration, q float64) time.Duration {
	s := slices.Sorted(slices.Values(d))
	if len(s) == 0 {
		return 0
	}
	return s[min(int(q*float64(len(s))), len(s)-1)]
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1e3 }
