package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"canter.example/cmd/canter/season"
)

// quick makes a season's club file wait little for files to settle.
func quick(clubYAML []byte) []byte {
	return append(clubYAML, "\nfiles:\n  settle: 100ms\n  rescan: 10s\n"...)
}

// seasonFiles makes n files of seasons in consecutive years: the same athletes,
// so that their histories grow. Whole recordings last as long as the sessions.
func seasonFiles(n int, whole bool) (first *season.Season, files []season.File, err error) {
	for year := 2022; len(files) < n; year++ {
		start := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)
		for start.Weekday() != time.Monday {
			start = start.AddDate(0, 0, 1)
		}
		s, err := season.New(season.Options{Weeks: 52, Athletes: 40, Seed: uint64(year), Start: start, Whole: whole}) //nolint:gosec // a year
		if err != nil {
			return nil, nil, err
		}
		if first == nil {
			first = s
		}
		for _, d := range s.Days {
			files = append(files, d.Files...)
		}
	}
	return first, files[:n], nil
}

// through runs files that lie in the folders through a new service and returns
// how long it took to store them all, and to be done with all.
func (b *bench) through(ctx context.Context, dir string, s *season.Season, files []season.File) (stored, done time.Duration, svc *service, err error) {
	club := []season.File{{Path: "club.yaml", Content: quick(s.ClubYAML)}, {Path: "athletes.csv", Content: s.AthletesCSV}}
	if err := write(dir, append(club, files...)...); err != nil {
		return 0, 0, nil, err
	}
	// The folders that none of the files is in are there, too.
	for _, d := range s.Days {
		for _, f := range d.Files {
			if err := os.MkdirAll(filepath.Join(dir, filepath.FromSlash(f.Folder)), 0o750); err != nil {
				return 0, 0, nil, err
			}
		}
	}
	begin := time.Now()
	svc, _, err = b.serve(ctx, dir)
	if err != nil {
		return 0, 0, nil, err
	}
	last, err := svc.handled(ctx, len(files))
	if err != nil {
		svc.stop()
		return 0, 0, nil, err
	}
	return last.Sub(begin), time.Since(begin), svc, nil
}

// pipeline sends files through the whole embedded service and sets it beside
// the bare decoding of the same files on the same cores: recordings that stop
// after the warm-up or a part of what follows, and such of whole sessions.
func (b *bench) pipeline(ctx context.Context) error {
	return errors.Join(
		b.beside(ctx, "pipeline", fmt.Sprintf("%d files of 25 to 70 min", b.files), false),
		b.beside(ctx, "whole", fmt.Sprintf("%d files of whole sessions, 60 to 80 min", b.files), true))
}

// beside adds the rows of one kind of recordings, which what names.
func (b *bench) beside(ctx context.Context, name, what string, whole bool) error {
	s, files, err := seasonFiles(b.files, whole)
	if err != nil {
		return err
	}
	begin := processorTime()
	before, err := bareAll(files)
	if err != nil {
		return err
	}
	bareTime := processorTime() - begin
	stored, done, svc, err := b.through(ctx, filepath.Join(b.dir, name), s, files)
	if err != nil {
		return err
	}
	svc.stop()
	after, err := bareAll(files)
	if err != nil {
		return err
	}
	n := float64(len(files))
	ourTime := svc.cmd.ProcessState.UserTime() + svc.cmd.ProcessState.SystemTime()
	bares := n / ((before + after) / 2).Seconds()
	ours := n / done.Seconds()
	b.add(what+", bare decoding on all cores", fmt.Sprintf("%.0f files/s", bares), "")
	b.add("the same, folder to history (start of the service included)", fmt.Sprintf("%.0f files/s", n/stored.Seconds()), "")
	b.add("the same, until sessions are reviewed and messages are out", fmt.Sprintf("%.0f files/s, %.2f × bare", ours, ours/bares), "≥ 0.40 ×", ours/bares >= 0.4)
	b.add("processor time a file of the whole service, start and end included", fmt.Sprintf("%.2f ms (bare decoding %.2f ms)", ms(ourTime)/n, ms(bareTime)/n), "")
	return nil
}

// processorTime is what this process has used, of user and system.
func processorTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// memory sends many files through one service and looks at what it holds.
func (b *bench) memory(ctx context.Context) error {
	s, files, err := seasonFiles(b.many, false)
	if err != nil {
		return err
	}
	_, done, svc, err := b.through(ctx, filepath.Join(b.dir, "memory"), s, files)
	if err != nil {
		return err
	}
	defer svc.stop()
	now, most, err := svc.memory()
	if err != nil {
		return err
	}
	b.add(fmt.Sprintf("memory after %d files (%.0f files/s)", len(files), float64(len(files))/done.Seconds()),
		fmt.Sprintf("%.0f MiB resident, %.0f at its most", now, most), "≤ 200 MiB", now <= 200)
	return nil
}

// ready starts services on a fresh and on a filled data folder.
func (b *bench) ready(ctx context.Context) error {
	s, files, err := seasonFiles(200, false)
	if err != nil {
		return err
	}
	dir := filepath.Join(b.dir, "ready")
	_, _, svc, err := b.through(ctx, dir, s, files)
	if err != nil {
		return err
	}
	svc.stop()
	var times []time.Duration
	for range 7 {
		svc, took, err := b.serve(ctx, dir)
		if err != nil {
			return err
		}
		svc.stop()
		times = append(times, took)
	}
	most := quantile(times, 1)
	b.add("ready after start, embedded, 200 files in history", fmt.Sprintf("%.2f s (median of 7), %.2f at most", median(times).Seconds(), most.Seconds()), "≤ 0.5 s", median(times) <= 500*time.Millisecond)
	return nil
}

func only(files []season.File, suffix string, n int) []season.File {
	var out []season.File
	for _, f := range files {
		if strings.HasSuffix(f.Path, suffix) && len(out) < n {
			out = append(out, f)
		}
	}
	return out
}
