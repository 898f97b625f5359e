package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"canter.example/ingest"
	"canter.example/ingest/formats"
	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/scorer/identify"
)

// How much of a folder is tried: the newest files tell whether pattern and
// athletes fit.
const (
	triedFiles    = 40
	shownFailures = 3
	// A share may be large and slow: so much of it is read at most, and for so
	// long; it is listed for so long.
	triedBytes = 64 << 20
	triedTime  = 10 * time.Second
	listedTime = 20 * time.Second
)

// folderCheck is what a watched folder is like.
type folderCheck struct {
	all, tried, known, series int
	// refused are the files that would be parked, with why, the newest first.
	refused []finding
	// fromFuture is a file with a time to come, if there is one.
	fromFuture []finding
}

// checkWatched prints what a watched folder is like.
func checkWatched(ctx context.Context, fs *findings, cl *club.Club, w club.Watch, now time.Time) {
	f, err := checkFolder(ctx, cl, w, now)
	of := "squad " + w.Squad
	if w.Squad == "" {
		of = "shared by the squads"
	}
	folder := finding{About: "folder", File: w.Folder.Path, Text: of + ", " + f.words()}
	fs.say(folder, err)
	fs.look(f.fromFuture...)
	if n := len(f.refused); n > 0 {
		folder.Text = fmt.Sprintf("%d of the newest %d would be parked", n, f.tried)
		fs.look(folder)
		if !fs.asJSON { // a program may want them all
			n = min(n, shownFailures)
		}
		fs.look(f.refused[:n]...)
	}
}

// checkFolder reads the newest files of a folder as serve would, and finds out
// whose they are.
func checkFolder(ctx context.Context, cl *club.Club, w club.Watch, now time.Time) (folderCheck, error) {
	listing, cancel := context.WithTimeout(ctx, listedTime)
	defer cancel()
	newest, all, err := ingest.Newest(listing, w.Folder.Path, triedFiles)
	if errors.Is(err, context.DeadlineExceeded) {
		return folderCheck{}, advised{fmt.Errorf("could not be listed within %s", listedTime), "serve lists it every files.rescan: watch a folder that holds less, or move old files away"}
	}
	if errors.Is(err, os.ErrNotExist) {
		return folderCheck{}, advised{errors.New("is not there"), "make it, or correct the club file"}
	}
	f := folderCheck{all: all}
	until, left := time.Now().Add(triedTime), int64(triedBytes)
	for _, l := range newest {
		if left -= l.Size; f.tried > 0 && (left < 0 || time.Now().After(until)) {
			break
		}
		this := finding{About: "file", File: filepath.Join(w.Folder.Path, filepath.FromSlash(l.Path))}
		if l.Modified.After(now.Add(time.Hour)) && f.fromFuture == nil {
			this.Text = "is of " + l.Modified.In(cl.Zone).Format("2006-01-02 15:04") + ", in the future"
			this.Do = "is this machine's clock, or the share's, right?"
			f.fromFuture = []finding{this}
		}
		f.tried++
		if why := f.try(cl, w, l); why != nil {
			this.Text, this.Do = fmt.Sprintf("would be parked: %v", why), ""
			f.refused = append(f.refused, this)
		}
	}
	return f, err
}

// try says why a file would be parked, nil when it would not.
func (f *folderCheck) try(cl *club.Club, w club.Watch, l ingest.Listed) error {
	if l.Size > cl.Files.MaxSize {
		return fmt.Errorf("has %d bytes, the limit is %d (files.max_size)", l.Size, cl.Files.MaxSize)
	}
	content, err := readBelow(w.Folder.Path, l.Path, cl.Files.MaxSize)
	if err != nil {
		return err
	}
	origin := schemas.Origin{Folder: w.Called(), Path: l.Path, Squad: w.Squad, Modified: l.Modified}
	zone := cl.Zone
	if w.Folder.CSVZone != nil {
		zone = w.Folder.CSVZone
	}
	date, _ := identify.Date(cl, origin)
	traces, _, err := decode(formats.Limits{})(l.Path, content, zone, date)
	if err != nil {
		rows, found, seriesErr := decodeSeries(formats.Limits{})(l.Path, content, zone, date)
		if !found {
			return err
		}
		f.series++
		sheet := identify.SheetAt(cl, origin)
		for i := range rows {
			if _, err := sheet.Whose(&rows[i]); err != nil {
				return err
			}
		}
		return seriesErr
	}
	for i := range traces {
		if _, err := identify.Who(cl, identify.Question{Origin: origin, Trace: &traces[i], Traces: len(traces)}); err != nil {
			return err
		}
	}
	f.known++
	return nil
}

// readBelow reads a file below a folder, following no link out of it, and no
// more of it than a limit.
func readBelow(folder, name string, limit int64) ([]byte, error) {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, err
	}
	defer func() { _ = root.Close() }()
	file, err := root.Open(filepath.FromSlash(name))
	if err != nil {
		return nil, err
	}
	defer func() { _ = file.Close() }()
	return io.ReadAll(io.LimitReader(file, limit))
}

// words tell what the newest files came to.
func (f *folderCheck) words() string {
	text := schemas.Count(f.all, "file")
	if f.tried == 0 {
		return text
	}
	if f.tried < f.all {
		text += fmt.Sprintf("; of the newest %d", f.tried)
	} else {
		text += "; of these"
	}
	text += fmt.Sprintf(", %d have athletes of the club file", f.known)
	if f.series > 0 {
		text += fmt.Sprintf(", %d hold daily series", f.series)
	}
	return text
}
