package ingest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strings"
)

// scanned is one scan of a folder.
type scanned struct {
	files listing
	dirs  []string
	// partial is what could not be listed, nil when all was. Files in there are
	// forgotten and met again later, which costs a hash and changes nothing.
	partial error
}

// scan lists the regular files below a directory of a folder, "." for all of
// it. Links, devices, pipes and hidden names are passed over: none is a file
// that somebody dropped.
func scan(ctx context.Context, fsys fs.FS, dir string) (scanned, error) {
	out := scanned{files: listing{}}
	var problems []error
	err := fs.WalkDir(fsys, dir, func(name string, d fs.DirEntry, err error) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			if name == dir {
				return err
			}
			problems = append(problems, err)
			return fs.SkipDir
		}
		if name != dir && unfinishedName(path.Base(name)) {
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if d.IsDir() {
			out.dirs = append(out.dirs, name)
			return nil
		}
		if !d.Type().IsRegular() {
			return nil
		}
		info, err := d.Info()
		if errors.Is(err, fs.ErrNotExist) {
			return nil // gone between listing and looking
		}
		if err != nil {
			problems = append(problems, err)
			return nil
		}
		out.files[name] = stamp{size: info.Size(), modified: info.ModTime()}
		return nil
	})
	if err != nil {
		return scanned{}, fmt.Errorf("ingest: list folder: %w", err)
	}
	out.partial = errors.Join(problems...)
	return out, nil
}

// unfinishedName tells names that programs give to files they have not
// finished, and hidden ones.
func unfinishedName(base string) bool {
	if strings.HasPrefix(base, ".") || strings.HasPrefix(base, "~$") {
		return true
	}
	switch strings.ToLower(path.Ext(base)) {
	case ".tmp", ".part", ".partial", ".crdownload", ".filepart":
		return true
	}
	return false
}
