package main

import (
	"context"
	"embed"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"canter.example/cmd/canter/season"
)

//go:embed scripts
var scriptFiles embed.FS

// scripts compares with what a practitioner would otherwise run: a script on a
// general library that reads the same files and prints HRex and HRR. It starts
// as many of them as there are cores, each over its part of the files.
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
	s, files, err := seasonFiles(6000)
	if err != nil {
		return err
	}
	for _, c := range []struct {
		what, suffix string
		command      []string
	}{
		{"FIT, Node with fit-file-parser", ".fit", []string{"node", filepath.Join(dir, "score.mjs")}},
		{"TCX, Python with its own xml.etree", ".tcx", []string{"python3", filepath.Join(dir, "score.py")}},
	} {
		chosen := only(files, c.suffix, 500)
		theirs, err := b.script(ctx, c.command, chosen)
		if err != nil {
			return err
		}
		_, done, svc, err := b.through(ctx, filepath.Join(b.dir, "against"+c.suffix), s, chosen)
		if err != nil {
			return err
		}
		svc.stop()
		n := float64(len(chosen))
		ratio := theirs.Seconds() / done.Seconds()
		b.add(fmt.Sprintf("%d files, %s, all cores", len(chosen), c.what), fmt.Sprintf("%.0f files/s", n/theirs.Seconds()), "")
		b.add("the same through canter, history and messages included", fmt.Sprintf("%.0f files/s, %.1f × the script", n/done.Seconds(), ratio), "≥ 5 ×", ratio >= 5)
	}
	return nil
}

// script runs a script over files, two of it at a time.
func (b *bench) script(ctx context.Context, command []string, files []season.File) (time.Duration, error) {
	dir := filepath.Join(b.dir, "plain")
	if err := write(dir, files...); err != nil {
		return 0, err
	}
	const at = 2
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
