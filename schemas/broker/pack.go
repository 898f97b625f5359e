package broker

import (
	"bytes"
	"encoding/binary"
)

// zipBlock is the most that a block of a Zstandard frame holds (RFC 8878, 3.1.1.2.4).
const zipBlock = 128 << 10

// pack appends a file's content to out as a Zstandard frame that says its size.
// A FIT file is put in as it is: it is as dense as a recording gets without more
// work than this is worth, and what fast compression saves is a twentieth.
func (b *Broker) pack(content, out []byte) []byte {
	if len(content) > 12 && bytes.Equal(content[8:12], []byte(".FIT")) && int64(len(content)) < 1<<32 {
		return packAsIs(content, out)
	}
	return b.zip.EncodeAll(content, out)
}

// packAsIs appends a frame of raw blocks (RFC 8878, 3.1.1): its header with a
// single segment and a size of four bytes, then the blocks, each with a header of
// three: whether it is the last, its type (0, raw) and its size.
func packAsIs(content, out []byte) []byte {
	out = append(out, 0x28, 0xb5, 0x2f, 0xfd, 0xa0)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(content))) //nolint:gosec // see pack
	for len(content) > 0 {
		n := min(len(content), zipBlock)
		head := n << 3
		if n == len(content) {
			head |= 1
		}
		out = append(out, byte(head), byte(head>>8), byte(head>>16)) //nolint:gosec // its three bytes
		out = append(out, content[:n]...)
		content = content[n:]
	}
	return out
}
