package ingest

import (
	"bytes"
	"encoding/binary"
)

// complete reports whether the bytes of a file form a whole, as far as its
// format tells without decoding it: a FIT file declares its length, XML ends
// with the tag it began with, a ZIP with its directory. A quiet file that is
// not complete is probably still being written by somebody slow.
func complete(b []byte) bool {
	switch {
	case len(b) == 0:
		return false
	case len(b) >= 12 && string(b[8:12]) == ".FIT":
		return fitComplete(b)
	case bytes.HasPrefix(b, []byte("PK\x03\x04")):
		// The end-of-directory record is 22 bytes and a comment of up to 64 KiB.
		return bytes.Contains(b[max(0, len(b)-22-1<<16):], []byte("PK\x05\x06"))
	case looksLikeXML(b):
		return xmlComplete(b)
	}
	return true
}

// fitComplete walks the chained parts by their declared lengths.
func fitComplete(b []byte) bool {
	for len(b) > 0 {
		if len(b) < 12 || string(b[8:12]) != ".FIT" {
			return true // something follows the last part: not for us to judge
		}
		size := uint64(b[0]) + uint64(binary.LittleEndian.Uint32(b[4:8])) + 2
		if uint64(len(b)) < size {
			return false
		}
		b = b[size:]
	}
	return true
}

func looksLikeXML(b []byte) bool {
	head := bytes.TrimLeft(b[:min(len(b), 512)], "\xef\xbb\xbf \t\r\n")
	return bytes.HasPrefix(head, []byte("<"))
}

func xmlComplete(b []byte) bool {
	tail := b[max(0, len(b)-512):]
	tail = bytes.TrimRight(tail, " \t\r\n\x00")
	if !bytes.HasSuffix(tail, []byte(">")) {
		return false
	}
	i := bytes.LastIndexByte(tail, '<')
	if i < 0 {
		return true
	}
	last := tail[i:]
	if bytes.HasPrefix(last, []byte("<!--")) || bytes.HasSuffix(tail, []byte("-->")) {
		return true
	}
	for _, root := range []string{"TrainingCenterDatabase", "gpx"} {
		// A prefix before the root's name is allowed: </x:gpx>.
		if bytes.HasPrefix(last, []byte("</")) && bytes.Contains(last, []byte(root+">")) {
			return true
		}
	}
	// Another closing tag at the end: complete only if the document is of a
	// kind we don't know, which the decoder will say better.
	return !bytes.Contains(b[:min(len(b), 4096)], []byte("TrainingCenterDatabase")) &&
		!bytes.Contains(b[:min(len(b), 4096)], []byte("<gpx"))
}
