package formats

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"strings"

	"canter.example/schemas"
)

// decodeZIP reads every file in a ZIP, and in ZIPs inside it as deep as
// Limits.Nesting goes. A file inside that can't be read does not hold up the
// others: the traces say in their notes which was left out and why. It is an
// error when none can be read, or when together they pass the limits.
func decodeZIP(content []byte, opt Options, b *budget, nesting int) ([]schemas.Trace, *Error) {
	if nesting >= b.Nesting {
		return nil, problem(ErrTooDeep, "", fmt.Sprintf("ZIP files nested more than %d deep", b.Nesting), "Unpack the outer ones")
	}
	archive, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		e := problem(ErrDamaged, "", "the ZIP file can't be opened: its list of entries is cut off or altered", "Pack or download it again")
		e.Cause = err
		return nil, e
	}
	if len(archive.File) > b.entries {
		return nil, problem(ErrTooMany, "", fmt.Sprintf("more than %d entries", b.Entries), "Pack fewer files into one ZIP")
	}
	b.entries -= len(archive.File)
	if isWorkbook(archive.File) {
		return nil, problem(ErrUnknownFormat, "", "a spreadsheet workbook is not read", "Save the sheet as CSV")
	}
	z := zipReader{opt: opt, b: b, nesting: nesting, names: entryNames(archive.File)}
	for i, f := range archive.File {
		if isClutter(f.Name) {
			continue
		}
		if err := z.entry(f, z.names[i]); err != nil {
			return nil, err
		}
	}
	return z.finish()
}

// zipReader collects the traces of the entries.
type zipReader struct {
	opt     Options
	b       *budget
	nesting int
	names   []string
	traces  []schemas.Trace
	unread  []*Error
	entries int
}

// entry reads one file of the archive. It returns an error only when the whole
// archive must be refused.
func (z *zipReader) entry(f *zip.File, name string) *Error {
	z.entries++
	place := "entry " + name
	content, err := z.unpack(f)
	if err == nil {
		var traces []schemas.Trace
		traces, _, err = decode(content, z.opt, z.b, z.nesting+1)
		for i := range traces {
			t := &traces[i]
			switch {
			case t.Part == "":
				t.Part = name
			case strings.HasPrefix(t.Part, "#"): // a session of one athlete's file
				t.Part = name + t.Part
			default:
				t.Part = name + "/" + t.Part
			}
			if t.Label == "" {
				t.Label = strings.TrimSuffix(path.Base(name), path.Ext(name))
			}
		}
		z.traces = append(z.traces, traces...)
	}
	if err == nil {
		if len(z.traces) > z.b.Traces {
			return tooManyTraces(z.b)
		}
		return nil
	}
	err = err.within(place)
	if z.b.exhausted() {
		return err
	}
	z.unread = append(z.unread, err)
	return nil
}

// unpack returns an entry's content, within the limits whatever its header says.
func (z *zipReader) unpack(f *zip.File) ([]byte, *Error) {
	if f.Flags&1 != 0 {
		return nil, problem(ErrEncrypted, "", "encrypted with a password", "Pack the files without one")
	}
	if f.UncompressedSize64 > uint64(z.b.Bytes) {
		return nil, z.b.bytesError(int64(min(f.UncompressedSize64, math.MaxInt64)))
	}
	r, err := f.Open()
	if err != nil {
		return nil, damagedEntry(err)
	}
	defer func() { _ = r.Close() }()
	var content bytes.Buffer
	content.Grow(int(min(f.UncompressedSize64, 1<<20)))
	packed := int64(min(f.CompressedSize64, uint64(z.b.Unpacked)))
	for {
		n, err := io.CopyN(&content, r, 1<<20)
		z.b.unpacked -= n
		size := int64(content.Len())
		switch {
		case z.b.unpacked < 0:
			return nil, problem(ErrTooLarge, "", fmt.Sprintf("the archive unpacks to more than %d bytes", z.b.Unpacked), "Pack fewer files into one ZIP")
		case size > z.b.Bytes:
			return nil, z.b.bytesError(size)
		case size > 1<<20 && size > z.b.Ratio*max(packed, 1):
			return nil, problem(ErrRatio, "", fmt.Sprintf("unpacks to more than %d times its packed size", z.b.Ratio),
				"Pack the exported files themselves")
		case errors.Is(err, io.EOF):
			return content.Bytes(), nil
		case err != nil:
			return nil, damagedEntry(err)
		}
	}
}

func damagedEntry(err error) *Error {
	e := problem(ErrDamaged, "", "can't be unpacked: "+cleanText(err.Error()), "Pack or download the ZIP again")
	e.Cause = err
	return e
}

// finish returns the traces, with notes of what was left out, or the first of
// the errors when nothing could be read.
func (z *zipReader) finish() ([]schemas.Trace, *Error) {
	if len(z.traces) == 0 {
		if len(z.unread) == 0 {
			return nil, problem(ErrNoSamples, "", "the ZIP file holds no files", "Pack the exported files into it")
		}
		first := *z.unread[0]
		if n := len(z.unread); n > 1 {
			first.What += fmt.Sprintf(" (and none of the other %d entries can be read)", n-1)
		}
		return nil, &first
	}
	uniqueParts(z.traces)
	for _, u := range z.unread {
		note := "left out of the ZIP: " + u.Error()
		for i := range z.traces {
			z.traces[i].Notes = append(z.traces[i].Notes, note)
		}
		if len(z.traces)*len(z.unread) > 10_000 {
			break // one such note on each is enough
		}
	}
	return z.traces, nil
}

// entryNames are the entries' names without their folders, with them where
// two would be the same.
func entryNames(files []*zip.File) []string {
	count := make(map[string]int)
	for _, f := range files {
		count[path.Base(slashed(f.Name))]++
	}
	names := make([]string, len(files))
	for i, f := range files {
		full := slashed(f.Name)
		names[i] = cleanText(path.Base(full))
		if count[path.Base(full)] > 1 {
			names[i] = cleanText(strings.TrimLeft(path.Clean(full), "/."))
		}
	}
	return names
}

func slashed(name string) string { return strings.ReplaceAll(name, "\\", "/") }

// isClutter reports entries that machines add: folders, hidden files, previews.
func isClutter(name string) bool {
	name = slashed(name)
	base := path.Base(name)
	return strings.HasSuffix(name, "/") || strings.HasPrefix(base, ".") || strings.HasPrefix(name, "__MACOSX/") ||
		strings.EqualFold(base, "thumbs.db") || strings.EqualFold(base, "desktop.ini")
}

// isWorkbook reports whether the archive is a spreadsheet or another office document.
func isWorkbook(files []*zip.File) bool {
	for _, f := range files {
		if f.Name == "[Content_Types].xml" || f.Name == "META-INF/manifest.xml" {
			return true
		}
	}
	return false
}
