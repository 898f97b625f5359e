package ingest

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"slices"
	"time"
)

// Listed is a file as a watcher would find it.
type Listed struct {
	// Path is below the folder, with forward slashes.
	Path     string
	Size     int64
	Modified time.Time
}

// Newest lists the files of a folder that a watcher would take, the newest
// first, n at most (all when n is 0), and how many there are in all. Part of a
// folder that can't be listed is an error, beside the rest. When ctx ends before
// all is listed, its error is returned.
func Newest(ctx context.Context, folder string, n int) (newest []Listed, all int, err error) {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, 0, fmt.Errorf("ingest: %w", err)
	}
	defer func() { _ = root.Close() }()
	s, err := scan(ctx, root.FS(), ".")
	if err != nil {
		return nil, 0, err
	}
	for name, st := range s.files {
		newest = append(newest, Listed{Path: name, Size: st.size, Modified: st.modified})
	}
	slices.SortFunc(newest, func(a, b Listed) int {
		return cmp.Or(b.Modified.Compare(a.Modified), cmp.Compare(a.Path, b.Path))
	})
	all = len(newest)
	if n > 0 && n < all {
		newest = newest[:n]
	}
	return newest, all, s.partial
}
