package main

import (
	"bytes"
	"context"
	"log/slog"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"canter.example/alerts/chat"
	"canter.example/cmd/canter/season"
	"canter.example/ingest/formats"
	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/schemas/club"
	"canter.example/schemas/history"
	"golang.org/x/sync/errgroup"
)

// BenchmarkPipeline sends a season's files through the whole embedded pipeline
// (broker, scorer, history, alerts, chat to nowhere) and sets it beside the
// bare decoding of the same files on the same cores. The target is 0.4 times
// the bare one's files a second.
func BenchmarkPipeline(b *testing.B) {
	s, err := season.New(season.Options{Weeks: 26})
	if err != nil {
		b.Fatal(err)
	}
	var files []season.File
	for _, d := range s.Days {
		files = append(files, d.Files...)
	}
	b.Run("decode", func(b *testing.B) {
		begin := cpu()
		for b.Loop() {
			var next atomic.Int64
			var wg sync.WaitGroup
			for range runtime.GOMAXPROCS(0) {
				wg.Go(func() {
					for i := next.Add(1) - 1; int(i) < len(files); i = next.Add(1) - 1 {
						_, _, _ = formats.Decode(files[i].Path, files[i].Content, formats.Options{})
					}
				})
			}
			wg.Wait()
		}
		b.ReportMetric(float64((cpu()-begin).Microseconds())/1e3/float64(len(files)*b.N), "cpu-ms/file")
		b.ReportMetric(float64(len(files)*b.N)/b.Elapsed().Seconds(), "files/s")
	})
	b.Run("canter", func(b *testing.B) {
		for b.Loop() {
			benchmarkSeason(b, s, files)
		}
		b.ReportMetric(float64(len(files)*b.N)/b.Elapsed().Seconds(), "files/s")
	})
}

// cpu is the processor time that this process has used.
func cpu() time.Duration {
	var u syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func benchmarkSeason(b *testing.B, s *season.Season, files []season.File) {
	b.Helper()
	b.StopTimer()
	dir := b.TempDir()
	// The club file is read beside its athletes' CSV.
	for name, content := range map[string][]byte{"club.yaml": s.ClubYAML, "athletes.csv": s.AthletesCSV} {
		if err := writeSeasonFile(dir, season.File{Path: name, Content: content}, time.Now()); err != nil {
			b.Fatal(err)
		}
	}
	cl, err := club.Load(filepath.Join(dir, "club.yaml"))
	if err != nil {
		b.Fatal(err)
	}
	h, err := history.Open(b.Context(), filepath.Join(dir, "history.db"))
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = h.Close() }()
	br, err := broker.Open(b.Context(), broker.Config{Dir: dir})
	if err != nil {
		b.Fatal(err)
	}
	defer br.Close()
	p := newPipeline(cl, slog.New(slog.DiscardHandler))
	p.broker, p.history, p.chat = br, h, chat.NewTerminal(&bytes.Buffer{}, "")
	p.build(map[role]bool{roleScorer: true, roleAlerts: true})
	b.StartTimer()
	begin := cpu()
	defer func() { b.ReportMetric(float64((cpu()-begin).Microseconds())/1e3/float64(len(files)), "cpu-ms/file") }()
	err = p.during(b.Context(), func(ctx context.Context) error {
		publish, ctx := errgroup.WithContext(ctx)
		publish.SetLimit(4) // as many as ingest has
		for _, f := range files {
			m := broker.FileMessage{ID: schemas.NewFileID(f.Content), Content: f.Content, Size: int64(len(f.Content))}
			m.Origin = schemas.Origin{Folder: filepath.Join(dir, f.Folder), Path: f.Path[len(f.Folder)+1:], Squad: cl.Squads[0].ID}
			if f.Folder != "inbox/first" {
				m.Origin.Squad = cl.Squads[1].ID
			}
			publish.Go(func() error {
				_, err := br.PublishFile(ctx, m)
				return err
			})
		}
		if err := publish.Wait(); err != nil {
			return err
		}
		return p.settled(b.Context())
	})
	if err != nil {
		b.Fatal(err)
	}
}
