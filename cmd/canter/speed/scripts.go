package main

import (
	"bytes"
	"context"
	"embed"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"canter.example/cmd/canter/season"
	"canter.example/ingest/formats"
)

//go:embed scripts
var scriptFiles embed.FS

// scripts compares with what a practitioner would otherwise run: a script on a
// general library that reads the same files and prints HRex and HRR, as one would
// run it, which is one process over all files. What the same script does when
// somebody splits the files and starts one on each core is printed beside it.
func (b *bench) scripts(ctx context.Context) error {
	dir := filepath.Join(b.dir, "scripts")
	if err := os.CopyFS(dir, scriptFiles); err != nil {
		return err
	}
	dir = filepath.Join(dir, "scripts")
	install := exec.CommandContext(ctx, "npm", "install", "--no-audit", "--no-fund", "--silent")
	install.Dir = dir
	if out, err := install.CombinedOutput(); err != nil {
		return fmt.Errorf("npm install: %w\n%s", err, out)
	}
	return errors.Join(
		b.against(ctx, dir, "", false),
		b.against(ctx, dir, " of whole sessions", true))
}

// against adds the rows of one kind of recordings, named by what stands after "files".
func (b *bench) against(ctx context.Context, dir, of string, whole bool) error {
	s, files, err := seasonFiles(b.files+b.files/2+100, whole) // three in four are FIT
	if err != nil {
		return err
	}
	fit := only(files, ".fit", b.files)
	tcx := asTCX(fit)
	for _, c := range []struct {
		what    string
		files   []season.File
		command []string
	}{
		{"FIT files" + of + ", Node with fit-file-parser", fit, []string{"node", filepath.Join(dir, "score.mjs")}},
		{"TCX files" + of + " (the same recordings), Python with its own xml.etree", tcx, []string{"python3", filepath.Join(dir, "score.py")}},
	} {
		one, err := b.script(ctx, c.command, c.files, 1)
		if err != nil {
			return err
		}
		cores := runtime.GOMAXPROCS(0)
		split, err := b.script(ctx, c.command, c.files, cores)
		if err != nil {
			return err
		}
		name := strings.Fields(c.what)[0] + strings.ReplaceAll(of, " ", "-")
		_, done, svc, err := b.through(ctx, filepath.Join(b.dir, name), s, c.files)
		if err != nil {
			return err
		}
		svc.stop()
		n := float64(len(c.files))
		ratio := one.Seconds() / done.Seconds()
		b.add(fmt.Sprintf("%d %s, one process as one would run it", len(c.files), c.what), fmt.Sprintf("%.0f files/s", n/one.Seconds()), "")
		b.add(fmt.Sprintf("the same script, the files split over %d processes", cores), fmt.Sprintf("%.0f files/s", n/split.Seconds()), "")
		b.add("the same files through canter, start, history and messages included",
			fmt.Sprintf("%.0f files/s: %.1f × one process, %.1f × %d processes", n/done.Seconds(), ratio, split.Seconds()/done.Seconds(), cores), "≥ 5 × one process", ratio >= 5)
	}
	return nil
}

// asTCX writes the recordings of FIT files as TCX, as a watch's program exports
// them: a season has few of its own.
func asTCX(files []season.File) []season.File {
	out := make([]season.File, 0, len(files))
	for _, f := range files {
		traces, _, err := formats.Decode(f.Path, f.Content, formats.Options{})
		if err != nil {
			continue // the odd file that breaks off before its first reading
		}
		var b bytes.Buffer
		b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>
<TrainingCenterDatabase xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2"><Activities>`)
		for i := range traces {
			tr := &traces[i]
			const layout = "2006-01-02T15:04:05Z"
			start := tr.Start.UTC().Format(layout)
			_, _ = fmt.Fprintf(&b, "<Activity Sport=\"Running\"><Id>%s</Id><Lap StartTime=\"%s\"><TotalTimeSeconds>%.0f</TotalTimeSeconds><Track>\n", start, start, tr.End().Seconds())
			for _, x := range tr.Samples {
				_, _ = fmt.Fprintf(&b, "<Trackpoint><Time>%s</Time>", tr.Start.Add(x.At).UTC().Format(layout))
				if x.HR > 0 {
					_, _ = fmt.Fprintf(&b, "<HeartRateBpm><Value>%.0f</Value></HeartRateBpm>", x.HR)
				}
				b.WriteString("</Trackpoint>\n")
			}
			b.WriteString("</Track></Lap></Activity>")
		}
		b.WriteString("</Activities></TrainingCenterDatabase>\n")
		f.Path, f.Content = strings.TrimSuffix(f.Path, ".fit")+".tcx", b.Bytes()
		out = append(out, f)
	}
	return out
}

// script runs a script over files, so many of it at a time, each over its part.
func (b *bench) script(ctx context.Context, command []string, files []season.File, at int) (time.Duration, error) {
	dir := filepath.Join(b.dir, "plain")
	if err := write(dir, files...); err != nil {
		return 0, err
	}
	parts := make([][]string, at)
	for i, f := range files {
		parts[i%at] = append(parts[i%at], filepath.Join(dir, filepath.FromSlash(f.Path)))
	}
	begin := time.Now()
	ended := make(chan error, at)
	for _, p := range parts {
		cmd := exec.CommandContext(ctx, command[0], append(command[1:], p...)...) //nolint:gosec // this package's own scripts
		go func() {
			out, err := cmd.CombinedOutput()
			if err != nil {
				err = fmt.Errorf("%v: %w\n%.2000s", command, err, out)
			}
			ended <- err
		}()
	}
	for range at {
		if err := <-ended; err != nil {
			return 0, err
		}
	}
	return time.Since(begin), nil
}
