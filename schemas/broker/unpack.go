package broker

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/klauspost/compress/zstd"
)

// unpack decompresses data into exactly size bytes, in room if they fit. The
// frame's own header is read first: what it declares must be size, so that
// nothing larger is ever allocated.
func (b *Broker) unpack(data []byte, size int64, room []byte) ([]byte, error) {
	var h zstd.Header
	if err := h.Decode(data); err != nil {
		return nil, fmt.Errorf("compressed body: %w", err)
	}
	if h.HasFCS && h.FrameContentSize == uint64(size) {
		out, err := b.unzip.DecodeAll(data, slices.Grow(room[:0], int(size)))
		if err != nil {
			return nil, fmt.Errorf("compressed body: %w", err)
		}
		if int64(len(out)) != size {
			return nil, fmt.Errorf("unpacks to %d bytes, its header says %d", len(out), size)
		}
		return out, nil
	}
	return unpackSlowly(data, size)
}

// unpackSlowly reads a frame that does not declare its size.
func unpackSlowly(data []byte, size int64) ([]byte, error) {
	r, err := zstd.NewReader(bytes.NewReader(data), zstd.WithDecoderConcurrency(1))
	if err != nil {
		return nil, fmt.Errorf("compressed body: %w", err)
	}
	defer r.Close()
	out, err := io.ReadAll(io.LimitReader(r, size+1))
	if err != nil {
		return nil, fmt.Errorf("compressed body: %w", err)
	}
	if int64(len(out)) != size {
		return nil, errors.New("unpacks to another size than its header says")
	}
	return out, nil
}
